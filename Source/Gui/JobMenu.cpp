#include "Gui/JobMenu.h"

#include "Gui/CommandKey.h"

namespace saddletone::gui {

namespace {

juce::String keyName(const char* key)
{
    return juce::String(commandKeyName) + key;
}

juce::String ellipsis(const juce::String& words)
{
    return words + juce::String::fromUTF8("\xe2\x80\xa6");
}

/** A path whose beginning is left out where it is long: its end is what tells jobs apart. */
juce::String shortPath(const juce::File& file)
{
    constexpr int longest = 36;
    const juce::String& path = file.getFullPathName();
    return path.length() <= longest
               ? path
               : juce::String::fromUTF8("\xe2\x80\xa6") + path.getLastCharacters(longest - 1);
}

void addItem(juce::PopupMenu& menu, const juce::String& words, const juce::String& key,
             bool isEnabled, std::function<void()> action)
{
    juce::PopupMenu::Item item(words);
    item.setID(menu.getNumItems() + 1);
    item.shortcutKeyDescription = key;
    item.setEnabled(isEnabled);
    item.setAction(std::move(action));
    menu.addItem(std::move(item));
}

} // namespace

JobMenu::JobMenu(JobModel& jobModel, AuditionModel& auditionModel, Actions menuActions)
    : jobs(jobModel), audition(auditionModel), actions(std::move(menuActions))
{
}

juce::PopupMenu JobMenu::recentMenu(const JobSnapshot& snapshot, bool isFree)
{
    juce::PopupMenu menu;
    for (const RecentJobView& each : snapshot.recent)
        addItem(menu,
                each.title + (each.isMissing ? " (missing)" : "")
                    + juce::String::fromUTF8(" \xc2\xb7 ") + shortPath(each.folder),
                {}, isFree && !each.isMissing,
                [this, folder = each.folder] { actions.openJob(folder); });
    return menu;
}

juce::PopupMenu JobMenu::make(const AuditionSnapshot& snapshot, bool isLocked)
{
    const JobSnapshot now = jobs.jobSnapshot();
    const bool isFree = !isLocked && now.task.task == JobTask::none;
    const bool hasJob = now.open != nullptr;
    juce::PopupMenu menu;
    addItem(menu, ellipsis("New job"), keyName("N"), isFree, [this] { actions.newJob(); });
    addItem(menu, ellipsis("Open a job"), keyName("O"), isFree, [this] { chooseJob(); });
    menu.addSubMenu("Open recent", recentMenu(now, isFree), !now.recent.empty());
    menu.addSeparator();
    addItem(menu, ellipsis("Copy the job"), {}, isFree && hasJob, [this] { chooseCopy(); });
    addItem(menu, ellipsis("Archive the job as one file"), {}, isFree && hasJob,
            [this] { chooseArchive(); });
    addItem(menu, ellipsis("Unpack an archive"), {}, isFree, [this] { chooseUnpacking(); });
    menu.addSeparator();
    addItem(menu, "Show the job's folder", {}, hasJob, [this] { jobs.showJobFolder(); });
    addItem(menu, "Close the job", keyName("W"), isFree && hasJob, [this] { actions.closeJob(); });
    menu.addSeparator();
    addItem(menu,
            now.undoWords.isEmpty() ? juce::String("Nothing to undo") : "Undo: " + now.undoWords,
            keyName("Z"), !isLocked && now.undoWords.isNotEmpty(), [this] { actions.undo(); });
    addItem(
        menu, now.redoWords.isEmpty() ? juce::String("Nothing to redo") : "Redo: " + now.redoWords,
        keyName("Shift+Z"), !isLocked && now.redoWords.isNotEmpty(), [this] { actions.redo(); });
    menu.addSeparator();
    juce::PopupMenu units;
    for (const SpeedUnit unit : {SpeedUnit::mph, SpeedUnit::kmh})
        units.addItem(unitName(unit), true, snapshot.speedUnit == unit,
                      [this, unit] { audition.setSpeedUnit(unit); });
    menu.addSubMenu("Speeds in", units);
    juce::PopupMenu sizes;
    for (const int percent : {100, 125, 150, 175, 200})
        sizes.addItem(juce::String(percent) + " %", jobs.fitsAtScale(percent),
                      jobs.scalePercent() == percent,
                      [this, percent] { jobs.setScalePercent(percent); });
    menu.addSubMenu("Size of everything", sizes);
    menu.addItem(audition.usesLightLook() ? "Dark look" : "Light look",
                 [this] { audition.setUsesLightLook(!audition.usesLightLook()); });
    if (audition.hasAudioSettings())
        menu.addItem(ellipsis("Audio settings"), [this] { audition.showAudioSettings(); });
    return menu;
}

void JobMenu::showBelow(juce::Component& button, const AuditionSnapshot& snapshot, bool isLocked)
{
    juce::PopupMenu menu = make(snapshot, isLocked);
    menu.setLookAndFeel(&button.getLookAndFeel());
    menu.showMenuAsync(juce::PopupMenu::Options().withTargetComponent(button));
}

void JobMenu::choose(const juce::String& title, const juce::File& start, int flags,
                     const juce::String& pattern, std::function<void(const juce::File&)> onChosen)
{
    chooser = std::make_unique<juce::FileChooser>(title, start, pattern);
    chooser->launchAsync(flags, [chosen = std::move(onChosen)](const juce::FileChooser& answered) {
        if (const juce::File file = answered.getResult(); file != juce::File())
            chosen(file);
    });
}

void JobMenu::chooseCopy()
{
    const JobSnapshot now = jobs.jobSnapshot();
    if (now.open == nullptr)
        return;
    choose("Name the copy's folder", now.open->folder.getNonexistentSibling(),
           juce::FileBrowserComponent::saveMode | juce::FileBrowserComponent::canSelectFiles, "*",
           [this](const juce::File& folder) { jobs.copyJob(folder); });
}

void JobMenu::chooseArchive()
{
    const JobSnapshot now = jobs.jobSnapshot();
    if (now.open == nullptr)
        return;
    choose("Name the archive", now.open->folder.withFileExtension("zip").getNonexistentSibling(),
           juce::FileBrowserComponent::saveMode | juce::FileBrowserComponent::canSelectFiles,
           "*.zip", [this](const juce::File& file) {
               jobs.archiveJob(file.hasFileExtension("zip")
                                   ? file
                                   : file.getSiblingFile(file.getFileName() + ".zip"));
           });
}

void JobMenu::chooseUnpacking()
{
    choose("Choose the archive of a job",
           juce::File::getSpecialLocation(juce::File::userDocumentsDirectory),
           juce::FileBrowserComponent::openMode | juce::FileBrowserComponent::canSelectFiles,
           "*.zip", [this](const juce::File& file) { jobs.unpackJob(file); });
}

void JobMenu::chooseJob()
{
    const JobSnapshot now = jobs.jobSnapshot();
    choose("Open a job's folder",
           now.open != nullptr ? now.open->folder.getParentDirectory()
                               : juce::File::getSpecialLocation(juce::File::userDocumentsDirectory),
           juce::FileBrowserComponent::openMode | juce::FileBrowserComponent::canSelectDirectories,
           "*", [this](const juce::File& folder) { actions.openJob(folder); });
}

} // namespace saddletone::gui
