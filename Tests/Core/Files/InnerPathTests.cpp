#include "Core/Files/InnerPath.h"

#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <filesystem>
#include <string>

using namespace saddletone;
using Catch::Contains;

TEST_CASE("Paths that leave their folder by their spelling are refused", "[core][files][paths]")
{
    const std::string path =
        GENERATE(as<std::string> {}, "", "/", "/etc/passwd", "//server/share/x", "..", "../x",
                 "a/../../x", "a/..", "a/../b", "..\\x", "a\\b", "\\\\server\\x", "C:", "C:x",
                 "c:/x", "C:\\x", std::string("a\0b", 3), "a\nb", "\x7F");
    CAPTURE(path);
    CHECK_FALSE(files::checkInnerPath(path).has_value());
    const auto resolved = files::resolveInside("/jobs/one", path);
    REQUIRE_FALSE(resolved);
    CHECK_THAT(resolved.error().message, Contains("inside the folder"));
}

TEST_CASE("Paths within a folder are resolved whether or not they exist", "[core][files][paths]")
{
    const test::TemporaryFolder folder;
    std::filesystem::create_directory(folder / "there");
    for (const std::string path : {"a.json", "there/b.json", "not/there.json", "..a/b..json",
                                   "a b/ü.wav", "...", "12:30 idle.wav", "aux.wav"}) {
        const auto resolved = files::resolveInside(folder.path(), path);
        REQUIRE(resolved);
        CHECK(*resolved == folder / path);
    }
}

TEST_CASE("Links are followed inside a folder and not out of it", "[core][files][paths]")
{
    const test::TemporaryFolder outer;
    const auto folder = outer / "job";
    std::filesystem::create_directories(folder / "music");
    std::filesystem::create_directory(outer / "job-2"); // begins with the same letters
    test::writeBytes(outer / "secret", "s");
    test::writeBytes(folder / "music/one.wav", "w");
    const auto link = [&](const std::string& name, const std::filesystem::path& target) {
        std::filesystem::create_symlink(target, folder / name);
    };
    link("inner", "music/one.wav");
    link("inner-folder", "music");
    link("absolute-inner", folder / "music/one.wav");
    link("chain", "inner");
    for (const std::string path :
         {"inner", "inner-folder/one.wav", "inner-folder/new.wav", "absolute-inner", "chain"})
        CHECK(files::resolveInside(folder, path).has_value());

    link("absolute", "/etc/passwd");
    link("up", "../secret");
    link("up-folder", "..");
    link("sibling", "../job-2");
    link("itself", ".");
    link("dangling", "nothing");
    link("loop", "loop");
    link("chain-out", "up");
    for (const std::string path :
         {"absolute", "up", "up-folder/secret", "up-folder/new", "sibling/new", "sibling",
          "dangling", "dangling/new", "loop", "chain-out"}) {
        CAPTURE(path);
        const auto resolved = files::resolveInside(folder, path);
        REQUIRE_FALSE(resolved);
        CHECK_THAT(resolved.error().message, Contains("link"));
    }

    // The folder itself may be reached by a link.
    std::filesystem::create_directory_symlink(folder, outer / "shortcut");
    CHECK(files::resolveInside(outer / "shortcut", "music/one.wav").has_value());
    CHECK(files::resolveInside(outer / "shortcut", "absolute-inner").has_value());
    CHECK_FALSE(files::resolveInside(outer / "shortcut", "up").has_value());
}

TEST_CASE("A file beside another has no folder in its name", "[core][files][paths]")
{
    const test::TemporaryFolder folder;
    CHECK(*files::resolveBeside(folder / "a.json", "a.wav") == folder / "a.wav");
    for (const std::string name : {"", "..", "x/a.wav", "/a.wav", "./a.wav", "..\\a.wav"})
        CHECK_FALSE(files::resolveBeside(folder / "a.json", name).has_value());
}

TEST_CASE("A place lies below a folder or not once links are followed", "[core][files][paths]")
{
    const test::TemporaryFolder folder;
    std::filesystem::create_directories(folder / "a/b");
    std::filesystem::create_directory_symlink("a", folder / "link");
    CHECK(files::liesBelow(folder / "a", folder / "a/b"));
    CHECK(files::liesBelow(folder / "a", folder / "link/b/new"));
    CHECK(files::liesBelow(folder / "a/", folder / "a/b/"));
    CHECK_FALSE(files::liesBelow(folder / "a", folder / "a"));
    CHECK_FALSE(files::liesBelow(folder / "a", folder / "ab"));
    CHECK_FALSE(files::liesBelow(folder / "a", folder / "a/../c"));
    CHECK_FALSE(files::liesBelow(folder / "a/b", folder / "a"));
}

TEST_CASE("Names that Windows takes for devices are known", "[core][files][paths]")
{
    // "Naming Files, Paths, and Namespaces", Windows documentation (from memory).
    for (const char* name : {"CON", "nul", "Aux.wav", "COM1", "lpt9.json", "prn.tar.gz", "nul ."})
        CHECK(files::isWindowsDevice(name));
    for (const char* name : {"console", "aux-2.wav", "COM", "COM0", "COM10", "", ".con", "a.nul"})
        CHECK_FALSE(files::isWindowsDevice(name));
}
