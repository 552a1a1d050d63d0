#define CATCH_CONFIG_RUNNER
#include <catch2/catch.hpp>

#include "Support/PictureOptions.h"
#include "Support/StressOptions.h"

#include <juce_gui_basics/juce_gui_basics.h>

namespace {

saddletone::test::StressOptions options;
saddletone::test::PictureOptions pictures;

} // namespace

const saddletone::test::StressOptions& saddletone::test::stressOptions() noexcept
{
    return options;
}

const saddletone::test::PictureOptions& saddletone::test::pictureOptions() noexcept
{
    return pictures;
}

int main(int argc, char* argv[])
{
    Catch::Session session;
    session.cli(session.cli()
                | Catch::clara::Opt(options.minutes, "minutes")["--stress-minutes"](
                    "minutes of audio that the stress host plays")
                | Catch::clara::Opt(options.seed,
                                    "seed")["--stress-seed"]("seed of what the stress host does")
                | Catch::clara::Opt(pictures.areRenewed)["--renew-pictures"](
                    "write the pictures of the screens instead of comparing with them"));
    if (const int wrong = session.applyCommandLine(argc, argv); wrong != 0)
        return wrong;
    const juce::ScopedJuceInitialiser_GUI juceIsUp;
    return session.run();
}
