#include "Core/Seat/ListenerSeat.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Seat/HeadModel.h"

#include <string_view>

namespace saddletone::seat {

namespace {

/** How the first comment of tables begins that were made up, as those of Presets/Headphones. */
constexpr std::string_view inventedMark = "# Invented";

} // namespace

dsp::Result<std::shared_ptr<const ListenerSeat>> loadListenerSeat(const SeatSettings& settings)
{
    auto seat = std::make_shared<ListenerSeat>();
    seat->places = settings.places;
    if (!settings.headphoneResponseFile.empty()) {
        const auto text = files::readTextFile(settings.headphoneResponseFile);
        if (!text)
            return text.unexpected();
        auto response = files::parseFrequencyTable(*text, settings.headphoneResponseFile.string());
        if (!response)
            return response.unexpected();
        seat->isHeadphoneInvented = text->starts_with(inventedMark);
        seat->headphone = *std::move(response);
        seat->headphoneSource = settings.headphoneResponseFile.string();
        if (!settings.headphoneTargetFile.empty()) {
            auto target = files::readFrequencyTable(settings.headphoneTargetFile);
            if (!target)
                return target.unexpected();
            seat->target = *std::move(target);
            seat->targetSource = settings.headphoneTargetFile.string();
        }
    }
    if (settings.isBinaural) {
        const auto file =
            settings.headSetFile.empty() ? HeadModel::packagedFile() : settings.headSetFile;
        if (file.empty())
            return dsp::fail(dsp::ErrorCode::notFound,
                             "this build knows no set of head-related responses; name a SOFA file, "
                             "or leave binaural placement off");
        auto head = readSofaFile(file);
        if (!head)
            return head.unexpected();
        seat->head = *std::move(head);
        seat->headSource = file.string();
    }
    if (!seat->isCorrected() && !seat->isBinaural())
        return std::shared_ptr<const ListenerSeat> {};
    return std::shared_ptr<const ListenerSeat>(std::move(seat));
}

std::shared_ptr<const ListenerSeat>
withoutCorrection(const std::shared_ptr<const ListenerSeat>& seat)
{
    if (seat == nullptr || !seat->isCorrected())
        return seat;
    if (!seat->isBinaural())
        return nullptr;
    auto bare = std::make_shared<ListenerSeat>(*seat);
    bare->headphone.reset();
    bare->target.reset();
    return bare;
}

} // namespace saddletone::seat
