#define CATCH_CONFIG_RUNNER
#include <catch2/catch.hpp>

#include <juce_gui_basics/juce_gui_basics.h>

int main(int argc, char* argv[])
{
    const juce::ScopedJuceInitialiser_GUI juceIsUp;
    return Catch::Session().run(argc, argv);
}
