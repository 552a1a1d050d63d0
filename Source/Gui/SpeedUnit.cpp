#include "Gui/SpeedUnit.h"

#include "Core/Dsp/Units.h"
#include "Gui/ElementWords.h"

#include <array>
#include <cmath>

namespace saddletone::gui {

juce::String unitName(SpeedUnit unit)
{
    return unit == SpeedUnit::mph ? "mph" : "km/h";
}

double speedIn(SpeedUnit unit, double speedKmh) noexcept
{
    return unit == SpeedUnit::mph ? dsp::kmhToMph(speedKmh) : speedKmh;
}

double speedKmhFrom(SpeedUnit unit, double speed) noexcept
{
    return unit == SpeedUnit::mph ? dsp::mphToKmh(speed) : speed;
}

juce::String speedWords(double speedKmh, SpeedUnit unit)
{
    if (speedKmh < 0.5)
        return "parked";
    return juce::String(static_cast<int>(std::lround(speedIn(unit, speedKmh)))) + " "
           + unitName(unit);
}

std::optional<double> parseSpeedKmh(const juce::String& text, SpeedUnit unit)
{
    const juce::String written = text.trim().toLowerCase();
    if (written == "parked")
        return 0.0;
    // A "k" behind a number would be thousands, so the unit goes before it is read.
    const juce::String number = written.trimCharactersAtEnd("abcdefghijklmnopqrstuvwxyz/ ");
    const juce::String behind = written.substring(number.length()).trim();
    if (behind == "km/h" || behind == "kmh" || behind == "kph")
        unit = SpeedUnit::kmh;
    else if (behind == "mph" || behind == "mi/h")
        unit = SpeedUnit::mph;
    else if (behind.isNotEmpty())
        return std::nullopt;
    const auto speed = parseNumber(number);
    if (!speed || *speed < 0.0)
        return std::nullopt;
    return speedKmhFrom(unit, *speed);
}

SpeedUnit speedUnitOfLocale(const juce::String& localeName)
{
    // language_COUNTRY.encoding, or language-COUNTRY.
    const juce::String country = localeName.upToFirstOccurrenceOf(".", false, false)
                                     .upToFirstOccurrenceOf("@", false, false)
                                     .replaceCharacter('-', '_')
                                     .fromFirstOccurrenceOf("_", false, false)
                                     .toUpperCase();
    if (country.isEmpty())
        return SpeedUnit::mph;
    // Road signs in miles an hour; common knowledge of these countries, no source.
    constexpr std::array milesCountries {"US", "GB", "LR", "MM", "PR", "VI", "GU", "AS",
                                         "MP", "IM", "JE", "GG", "KY", "BS", "BZ"};
    for (const char* const each : milesCountries)
        if (country == each)
            return SpeedUnit::mph;
    return SpeedUnit::kmh;
}

SpeedUnit defaultSpeedUnit()
{
#if JUCE_LINUX || JUCE_BSD
    // Read from the environment: asking the C library would set the locale of the whole process,
    // and with it the decimal sign of other libraries in it.
    for (const char* const name : {"LC_ALL", "LC_MEASUREMENT", "LANG"})
        if (const juce::String value = juce::SystemStats::getEnvironmentVariable(name, {});
            value.isNotEmpty())
            return speedUnitOfLocale(value);
    return SpeedUnit::mph;
#else
    return speedUnitOfLocale("_" + juce::SystemStats::getUserRegion());
#endif
}

} // namespace saddletone::gui
