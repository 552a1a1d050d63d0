#include "Plugin/EditLine.h"

namespace saddletone::plugin {

void EditLine::tellOthers(const EditSource& moved, void (EditSource::*message)()) const
{
    for (EditSource* const each : sources)
        if (each != &moved)
            (each->*message)();
}

std::uint64_t EditLine::begin(const EditSource& source)
{
    tellOthers(source, &EditSource::editedElsewhere);
    return ++lastOrder;
}

EditSource* EditLine::newestToUndo() const
{
    EditSource* found = nullptr;
    std::uint64_t newest = 0;
    for (EditSource* const each : sources)
        if (const auto step = each->nextUndo();
            step && (found == nullptr || step->order > newest)) {
            found = each;
            newest = step->order;
        }
    return found;
}

EditSource* EditLine::oldestToRedo() const
{
    EditSource* found = nullptr;
    std::uint64_t oldest = 0;
    for (EditSource* const each : sources)
        if (const auto step = each->nextRedo();
            step && (found == nullptr || step->order < oldest)) {
            found = each;
            oldest = step->order;
        }
    return found;
}

std::optional<EditSource::Step> EditLine::nextUndo() const
{
    EditSource* const source = newestToUndo();
    return source != nullptr ? source->nextUndo() : std::nullopt;
}

std::optional<EditSource::Step> EditLine::nextRedo() const
{
    EditSource* const source = oldestToRedo();
    return source != nullptr ? source->nextRedo() : std::nullopt;
}

std::string EditLine::undo()
{
    EditSource* const source = newestToUndo();
    if (source == nullptr)
        return {};
    const std::string words = source->nextUndo()->words;
    source->undo();
    tellOthers(*source, &EditSource::movedElsewhere);
    return words;
}

std::string EditLine::redo()
{
    EditSource* const source = oldestToRedo();
    if (source == nullptr)
        return {};
    const std::string words = source->nextRedo()->words;
    source->redo();
    tellOthers(*source, &EditSource::movedElsewhere);
    return words;
}

} // namespace saddletone::plugin
