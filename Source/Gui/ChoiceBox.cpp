#include "Gui/ChoiceBox.h"

namespace saddletone::gui {

namespace {

class Handler final : public juce::AccessibilityHandler {
public:
    explicit Handler(juce::ComboBox& comboBox)
        : juce::AccessibilityHandler(
            comboBox, juce::AccessibilityRole::comboBox,
            juce::AccessibilityActions()
                .addAction(juce::AccessibilityActionType::press, [&] { comboBox.showPopup(); })
                .addAction(juce::AccessibilityActionType::showMenu, [&] { comboBox.showPopup(); }),
            {std::make_unique<Value>(comboBox)}),
          box(comboBox)
    {
    }

    juce::String getTitle() const override
    {
        const juce::String chosen = box.getText();
        return chosen.isEmpty() ? box.getTitle() : box.getTitle() + ": " + chosen;
    }
    juce::String getHelp() const override { return box.getTooltip(); }
    juce::AccessibleState getCurrentState() const override
    {
        const auto state = juce::AccessibilityHandler::getCurrentState().withExpandable();
        return box.isPopupActive() ? state.withExpanded() : state.withCollapsed();
    }

private:
    class Value final : public juce::AccessibilityTextValueInterface {
    public:
        explicit Value(juce::ComboBox& comboBox) : box(comboBox) {}

        bool isReadOnly() const override { return true; }
        juce::String getCurrentValueAsString() const override { return box.getText(); }
        void setValueAsString(const juce::String&) override {}

    private:
        juce::ComboBox& box;
    };

    juce::ComboBox& box;
};

} // namespace

std::unique_ptr<juce::AccessibilityHandler> ChoiceBox::createAccessibilityHandler()
{
    return std::make_unique<Handler>(*this);
}

} // namespace saddletone::gui
