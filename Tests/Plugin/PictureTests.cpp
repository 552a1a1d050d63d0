// The window against pictures of it that somebody has looked at. --renew-pictures makes them anew.
#include "Support/PictureOptions.h"
#include "Support/Pictures.h"
#include "Support/Scenes.h"

#include <catch2/catch.hpp>

using namespace saddletone;
using test::PictureDifference;
using test::Stage;

namespace {

constexpr std::array shownScenes {"signals", "bike curves", "tuning", "listen at speed",
                                  "report",  "seat",        "event"};

juce::File fileOf(const juce::String& scene, bool isLight)
{
    return juce::File(SADDLETONE_PICTURES_DIR)
        .getChildFile(scene.replaceCharacter(' ', '-') + (isLight ? "-light.png" : "-dark.png"));
}

void write(const juce::Image& image, const juce::File& file)
{
    juce::TemporaryFile temporary(file);
    {
        juce::FileOutputStream stream(temporary.getFile());
        REQUIRE(stream.openedOk());
        REQUIRE(juce::PNGImageFormat().writeImageToStream(image, stream));
    }
    REQUIRE(temporary.overwriteTargetFileWithTemporary());
}

void setUp(Stage& stage, const char* scene)
{
    test::sceneOf(scene).set(stage);
    stage.jobs.settle();
}

juce::Image pictureIn(Stage& stage, bool isLight)
{
    stage.jobs.rig.processor.setUsesLightLook(isLight);
    stage.editor().refresh();
    return test::quarterOf(test::pictureOf(stage.editor()));
}

/** All of it moved, as a panel laid out elsewhere is. */
juce::Image moved(const juce::Image& image, juce::Rectangle<int> part, juce::Point<int> by)
{
    juce::Image changed = image.createCopy();
    juce::Graphics g(changed);
    g.drawImageAt(image.getClippedImage(part), part.getX() + by.x, part.getY() + by.y);
    return changed;
}

juce::Image blanked(const juce::Image& image, juce::Rectangle<int> part)
{
    juce::Image changed = image.createCopy();
    juce::Graphics g(changed);
    g.setColour(image.getPixelAt(part.getX(), part.getY()));
    g.fillRect(part);
    return changed;
}

} // namespace

TEST_CASE("Places, seat and event look as in their pictures, dark and light",
          "[plugin][editor][pictures]")
{
    for (const char* const scene : shownScenes) {
        Stage stage(true);
        setUp(stage, scene);
        for (const bool isLight : {false, true}) {
            const juce::File file = fileOf(scene, isLight);
            const juce::Image now = pictureIn(stage, isLight);
            if (test::pictureOptions().areRenewed)
                write(now, file);
            const juce::Image expected =
                juce::ImageFileFormat::loadFrom(file).convertedToFormat(juce::Image::RGB);
            const PictureDifference difference = test::differenceOf(now, expected);
            INFO(file.getFileName()
                 << ": mean " << difference.mean << ", worst " << difference.worstBlock << " at "
                 << difference.worstAt.toString());
            CHECK(difference.isSmall());
        }
    }
}

TEST_CASE("A panel that is gone, empty or elsewhere is not taken for what it was",
          "[plugin][editor][pictures]")
{
    for (const bool isLight : {false, true}) {
        Stage stage(true);
        setUp(stage, "listen at speed");
        const juce::Image right = pictureIn(stage, isLight);
        CHECK(test::differenceOf(right, right).isSmall());
        for (juce::Component* const part : stage.editor().getChildren()) {
            // Buttons are small; what a panel is begins at the size of one block and a half.
            if (!part->isVisible() || part->getWidth() < 140 || part->getHeight() < 60
                || dynamic_cast<juce::TooltipWindow*>(part) != nullptr)
                continue;
            CAPTURE(part->getTitle(), part->getBounds().toString());
            part->setVisible(false);
            CHECK_FALSE(test::differenceOf(pictureIn(stage, isLight), right).isSmall());
            part->setVisible(true);
            const auto place = part->getBounds() / 4;
            CHECK_FALSE(test::differenceOf(blanked(right, place), right).isSmall());
            CHECK_FALSE(test::differenceOf(moved(right, place, {0, 6}), right).isSmall());
            CHECK_FALSE(test::differenceOf(moved(right, place, {8, 0}), right).isSmall());
        }
        // The other look is another picture.
        CHECK_FALSE(test::differenceOf(pictureIn(stage, !isLight), right).isSmall());
    }
}

TEST_CASE("Edges of letters a third of a pixel away are the same picture",
          "[plugin][editor][pictures]")
{
    Stage stage(true);
    setUp(stage, "listen at speed");
    stage.editor().refresh();
    const juce::Image sharp = test::pictureOf(stage.editor());
    juce::Image soft(juce::Image::RGB, sharp.getWidth(), sharp.getHeight(), true);
    juce::Graphics g(soft);
    g.setImageResamplingQuality(juce::Graphics::mediumResamplingQuality);
    g.drawImageTransformed(sharp, juce::AffineTransform::translation(0.33F, 0.33F));
    const PictureDifference difference =
        test::differenceOf(test::quarterOf(sharp), test::quarterOf(soft));
    CAPTURE(difference.mean, difference.worstBlock);
    CHECK(difference.mean > 0.0);
    CHECK(difference.isSmall());
}
