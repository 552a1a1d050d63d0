#pragma once

#include <juce_core/juce_core.h>

#include <filesystem>
#include <string>

namespace saddletone::plugin {

[[nodiscard]] inline std::filesystem::path toPath(const juce::File& file)
{
    const juce::String& name = file.getFullPathName();
    const juce::CharPointer_UTF8 utf8 = name.toUTF8();
    return std::u8string(utf8.getAddress(), utf8.getAddress() + utf8.sizeInBytes() - 1);
}

[[nodiscard]] inline juce::File toFile(const std::filesystem::path& path)
{
    const std::u8string utf8 = std::filesystem::absolute(path).lexically_normal().u8string();
    const std::string bytes(utf8.begin(), utf8.end());
    return juce::File(juce::String::fromUTF8(bytes.c_str()));
}

[[nodiscard]] inline juce::String toText(const std::string& utf8)
{
    return juce::String::fromUTF8(utf8.c_str());
}

} // namespace saddletone::plugin
