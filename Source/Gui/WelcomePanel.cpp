#include "Gui/WelcomePanel.h"

#include "Gui/Look.h"

#include <algorithm>

namespace saddletone::gui {

namespace {

constexpr int cardMargin = 16;
constexpr int buttonHeight = 36;
constexpr int headingHeight = 30;

struct CardWords {
    const char* heading;
    const char* words;
};

constexpr std::array cardWords {
    CardWords {"See how it works",
               "A demo job of an invented shop and an invented bike: hear it parked and on the "
               "road, as it stands and with another tuning. Making it takes some seconds and "
               "about 120 MB."},
    CardWords {"Start a job", ""},
    CardWords {
        "Make test tracks",
        "On a USB stick for the bike's radio, with a list to print. The bike plays them, this "
        "computer or a pocket recorder records them at the rider's head. No job is needed "
        "for that."}};

constexpr std::array fieldNames {"Title", "Bike", "The customer's question"};

} // namespace

WelcomePanel::WelcomePanel(JobModel& jobModel)
    : model(jobModel),
      titleField("Title of the job", "What the job is called; the report has it as its heading.",
                 120),
      bikeField("Bike", "Make, model and year, and what was changed on its audio.", 200),
      questionField("The customer's question",
                    "What the customer wants to know, in their words; the report begins with it.",
                    300)
{
    setTitle("Begin");
    addControl(*this, demoButton, "Make the demo job",
               "Makes the invented demo job in your documents, or opens the one that is there.");
    addControl(*this, demoFolderButton, "Make the demo job in another folder",
               "Chooses the folder that the demo job is made in.");
    addControl(*this, startButton, startButton.getButtonText(),
               "Makes a folder for the job and opens it.");
    addControl(*this, folderButton, "Choose the job's folder",
               "Chooses the folder in which the job's own folder is made.");
    addControl(*this, tracksButton, tracksButton.getButtonText(),
               "Goes to the test tracks, which are written to a stick or a folder there.");
    addControl(*this, openButton, openButton.getButtonText(), "Opens the folder of a job.");
    addControl(*this, backButton, backButton.getButtonText(), "Goes on with the open job.");
    backButton.setVisible(false);
    demoButton.onClick = [this] { begin([this] { model.makeDemo({}); }); };
    demoFolderButton.onClick = [this] { chooseDemoFolder(); };
    startButton.onClick = [this] { startJob(); };
    folderButton.onClick = [this] { chooseJobFolder(); };
    tracksButton.onClick = [this] {
        if (onTracks)
            onTracks();
    };
    openButton.onClick = [this] {
        if (onOpen)
            onOpen();
    };
    backButton.onClick = [this] {
        if (onBack)
            onBack();
    };
    for (std::size_t index = 0; index < recentButtons.size(); ++index) {
        addControl(*this, recentButtons[index], "Open a job from before", "Opens this job.");
        recentButtons[index].setVisible(false);
        recentButtons[index].onClick = [this, index] {
            if (index < recent.size())
                begin([this, folder = recent[index].folder] { model.openJob(folder); });
        };
    }
    const std::array<TextField*, 3> fields {&titleField, &bikeField, &questionField};
    for (std::size_t index = 0; index < fields.size(); ++index) {
        fieldLabels[index].setText(fieldNames[index], juce::dontSendNotification);
        fieldLabels[index].setFont(textFont(14.0F));
        fieldLabels[index].setAccessible(false); // the field itself carries the name
        addAndMakeVisible(fieldLabels[index]);
        addAndMakeVisible(*fields[index]);
    }
    titleField.onTextChange = [this] {
        const juce::File folder = jobFolder();
        folderWords = "It is kept in " + folder.getParentDirectory().getFileName()
                      + juce::File::getSeparatorString() + folder.getFileName() + ".";
        repaint(folderArea);
    };
    titleField.onTextChange();
}

WelcomePanel::~WelcomePanel() = default;

juce::File WelcomePanel::jobFolder() const
{
    const juce::File suggested = model.folderForNewJob(titleField.text());
    return chosenFolder != juce::File() ? chosenFolder.getChildFile(suggested.getFileName())
                                        : suggested;
}

void WelcomePanel::startJob()
{
    JobFields fields;
    fields.title = titleField.text();
    fields.bike = bikeField.text();
    fields.question = questionField.text();
    begin([this, folder = jobFolder(), fields] { model.newJob(folder, fields); });
}

void WelcomePanel::begin(std::function<void()> open)
{
    if (onBegin)
        onBegin(std::move(open));
}

void WelcomePanel::beginTyping()
{
    if (titleField.isShowing())
        titleField.grabKeyboardFocus();
}

void WelcomePanel::chooseDemoFolder()
{
    chooser = std::make_unique<juce::FileChooser>(
        "Folder for the invented demo job",
        juce::File::getSpecialLocation(juce::File::userDocumentsDirectory));
    chooser->launchAsync(
        juce::FileBrowserComponent::openMode | juce::FileBrowserComponent::canSelectDirectories,
        [this](const juce::FileChooser& answered) {
            if (const juce::File folder = answered.getResult(); folder != juce::File())
                begin([this, folder] { model.makeDemo(folder); });
        });
}

void WelcomePanel::chooseJobFolder()
{
    chooser = std::make_unique<juce::FileChooser>("Folder in which the job's own folder is made",
                                                  jobFolder().getParentDirectory());
    chooser->launchAsync(
        juce::FileBrowserComponent::openMode | juce::FileBrowserComponent::canSelectDirectories,
        [this](const juce::FileChooser& answered) {
            if (const juce::File folder = answered.getResult(); folder != juce::File()) {
                chosenFolder = folder;
                titleField.onTextChange();
            }
        });
}

void WelcomePanel::show(const JobSnapshot& snapshot)
{
    const bool nowBusy = snapshot.task.task != JobTask::none;
    std::vector<RecentJobView> nowRecent;
    for (const RecentJobView& each : snapshot.recent)
        if (!each.isMissing && nowRecent.size() < mostRecent)
            nowRecent.push_back(each);
    const bool nowHasJob = snapshot.open != nullptr;
    if (nowBusy == isBusy && nowRecent == recent && nowHasJob == hasJob)
        return;
    if (hasJob != nowHasJob || !nowHasJob)
        titleField.onTextChange(); // a folder of that name may be there by now
    hasJob = nowHasJob;
    backButton.setVisible(hasJob);
    isBusy = nowBusy;
    recent = std::move(nowRecent);
    for (juce::TextButton* const button :
         {&demoButton, &demoFolderButton, &startButton, &openButton})
        button->setEnabled(!isBusy);
    for (std::size_t index = 0; index < recentButtons.size(); ++index) {
        juce::TextButton& button = recentButtons[index];
        button.setVisible(index < recent.size());
        button.setEnabled(!isBusy);
        if (index >= recent.size())
            continue;
        button.setButtonText(recent[index].title);
        button.setTitle("Open " + recent[index].title);
        button.setDescription("Opens the job in " + recent[index].folder.getFullPathName() + ".");
        button.setTooltip(button.getDescription());
    }
    resized();
    repaint();
}

void WelcomePanel::lookAndFeelChanged()
{
    for (juce::Label& label : fieldLabels)
        label.setColour(juce::Label::textColourId, paletteOf(*this).text);
}

void WelcomePanel::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    g.setColour(palette.text);
    g.setFont(textFont(20.0F, juce::Font::bold));
    g.drawText(hasJob ? "Where do you want to begin?"
                      : "No job is open. Where do you want to begin?",
               headingArea, juce::Justification::centredLeft, true);
    for (std::size_t index = 0; index < cards.size(); ++index) {
        g.setColour(palette.panel);
        g.fillRoundedRectangle(cards[index].toFloat(), 8.0F);
        auto content = cards[index].reduced(cardMargin);
        g.setColour(palette.text);
        g.setFont(textFont(18.0F, juce::Font::bold));
        g.drawText(juce::String(static_cast<int>(index) + 1) + ".  " + cardWords[index].heading,
                   content.removeFromTop(headingHeight), juce::Justification::topLeft, true);
        drawWords(g, cardWords[index].words, textFont(15.0F), palette.text,
                  content.withTrimmedBottom(buttonHeight + 8), juce::Justification::topLeft);
    }
    drawWords(g, folderWords, textFont(14.0F), palette.mutedText, folderArea,
              juce::Justification::centredLeft);
}

void WelcomePanel::resized()
{
    auto area = getLocalBounds();
    headingArea = area.removeFromTop(38);
    backButton.setBounds(headingArea.removeFromRight(160).withTrimmedBottom(4));
    auto row = area.removeFromBottom(buttonHeight);
    openButton.setBounds(row.removeFromLeft(150));
    const int width = std::min(260, (row.getWidth() - 30) / 3);
    for (juce::TextButton& button : recentButtons) {
        row.removeFromLeft(10);
        button.setBounds(row.removeFromLeft(width));
    }
    area.removeFromBottom(12);
    area.setHeight(std::min(area.getHeight(), 400));
    // The middle one has fields and is wider.
    constexpr int gap = 12;
    const int sideWidth = (area.getWidth() - 2 * gap) * 29 / 100;
    cards[0] = area.removeFromLeft(sideWidth);
    area.removeFromLeft(gap);
    cards[2] = area.removeFromRight(sideWidth);
    area.removeFromRight(gap);
    cards[1] = area;

    auto demo = cards[0].reduced(cardMargin).removeFromBottom(buttonHeight);
    demoButton.setBounds(demo.removeFromLeft((demo.getWidth() - 8) / 2));
    demo.removeFromLeft(8);
    demoFolderButton.setBounds(demo);
    tracksButton.setBounds(cards[2].reduced(cardMargin).removeFromBottom(buttonHeight));

    auto start = cards[1].reduced(cardMargin);
    start.removeFromTop(headingHeight);
    auto buttons = start.removeFromBottom(buttonHeight);
    startButton.setBounds(buttons.removeFromLeft((buttons.getWidth() - 8) * 2 / 3));
    buttons.removeFromLeft(8);
    folderButton.setBounds(buttons);
    folderArea = start.removeFromBottom(44);
    const std::array<TextField*, 3> fields {&titleField, &bikeField, &questionField};
    const int rowHeight = std::clamp(start.getHeight() / 3, 50, 64);
    for (std::size_t index = 0; index < fields.size(); ++index) {
        auto field = start.removeFromTop(rowHeight);
        fieldLabels[index].setBounds(field.removeFromTop(20));
        fields[index]->setBounds(field.removeFromTop(30));
    }
}

} // namespace saddletone::gui
