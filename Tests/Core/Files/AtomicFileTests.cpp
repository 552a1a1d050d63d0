#include "Core/Files/AtomicFile.h"

#include "Support/RefusedWrites.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <filesystem>
#include <string>
#include <utility>

#if !defined(_WIN32)
#include <sys/stat.h>
#endif

using namespace saddletone;
using Catch::Contains;

TEST_CASE("A file appears only with its commit", "[core][files]")
{
    const test::TemporaryFolder folder;
    test::writeBytes(folder / "a.txt", "old");
    auto file = files::AtomicFile::open(folder / "a.txt");
    REQUIRE(file.has_value());
    test::writeBytes(file->temporaryPath(), "new");
    CHECK(file->temporaryPath().parent_path() == folder.path());
    CHECK(test::bytesOf(folder / "a.txt") == "old");
    REQUIRE(file->commit().has_value());
    CHECK(test::bytesOf(folder / "a.txt") == "new");
    CHECK(folder.numEntries() == 1);
}

TEST_CASE("Without a commit the previous file stays and nothing else does", "[core][files]")
{
    const test::TemporaryFolder folder;
    test::writeBytes(folder / "a.txt", "old");
    {
        auto file = files::AtomicFile::open(folder / "a.txt");
        REQUIRE(file.has_value());
        test::writeBytes(file->temporaryPath(), "half of the n");
        const files::AtomicFile moved = *std::move(file);
        CHECK(folder.numEntries() == 2);
    }
    CHECK(test::bytesOf(folder / "a.txt") == "old");
    CHECK(folder.numEntries() == 1);
}

TEST_CASE("Two writers of one file do not share a temporary file", "[core][files]")
{
    const test::TemporaryFolder folder;
    auto first = files::AtomicFile::open(folder / "a.txt");
    auto second = files::AtomicFile::open(folder / "a.txt");
    REQUIRE(first.has_value());
    REQUIRE(second.has_value());
    CHECK(first->temporaryPath() != second->temporaryPath());
}

TEST_CASE("Missing folders on the way to a file are made", "[core][files]")
{
    const test::TemporaryFolder folder;
    REQUIRE(files::writeTextFile(folder / "one/two/a.txt", "text").has_value());
    CHECK(test::bytesOf(folder / "one/two/a.txt") == "text");
}

TEST_CASE("A folder in the file's place is refused and kept", "[core][files]")
{
    const test::TemporaryFolder folder;
    std::filesystem::create_directory(folder / "a.txt");
    const auto written = files::writeTextFile(folder / "a.txt", "text");
    REQUIRE_FALSE(written.has_value());
    CHECK(written.error().code == dsp::ErrorCode::cannotWrite);
    CHECK_THAT(written.error().message, Contains("a.txt") && Contains("folder"));
    CHECK(std::filesystem::is_directory(folder / "a.txt"));
    CHECK(folder.numEntries() == 1);
}

TEST_CASE("A file in the folder's place is refused and kept", "[core][files]")
{
    const test::TemporaryFolder folder;
    test::writeBytes(folder / "place", "text");
    const auto written = files::writeTextFile(folder / "place/a.txt", "new");
    REQUIRE_FALSE(written.has_value());
    CHECK(written.error().code == dsp::ErrorCode::cannotWrite);
    CHECK(test::bytesOf(folder / "place") == "text");
    CHECK(folder.numEntries() == 1);
}

TEST_CASE("A read-only folder refuses a file and keeps what it has", "[core][files]")
{
    const test::TemporaryFolder folder;
    test::writeBytes(folder / "a.txt", "old");
    std::filesystem::permissions(folder.path(), std::filesystem::perms::owner_read
                                                    | std::filesystem::perms::owner_exec
                                                    | std::filesystem::perms::others_read
                                                    | std::filesystem::perms::others_exec);
    dsp::Result<void> written;
    {
        const test::Unprivileged user;
        written = files::writeTextFile(folder / "a.txt", "new");
    }
    REQUIRE_FALSE(written.has_value());
    CHECK(written.error().code == dsp::ErrorCode::cannotWrite);
    CHECK_THAT(written.error().message, Contains("a.txt") && Contains("read-only"));
    CHECK(test::bytesOf(folder / "a.txt") == "old");
    CHECK(folder.numEntries() == 1);
}

TEST_CASE("A disk that fills up while text is written leaves the previous text", "[core][files]")
{
    const test::TemporaryFolder folder;
    test::writeBytes(folder / "a.txt", "old");
    bool written = false;
    {
        const test::FileSizeLimit limit(1000);
        written = files::writeTextFile(folder / "a.txt", std::string(5000, 'x')).has_value();
    }
    CHECK_FALSE(written);
    CHECK(test::bytesOf(folder / "a.txt") == "old");
    CHECK(folder.numEntries() == 1);
}

TEST_CASE("Text comes back byte for byte", "[core][files]")
{
    const test::TemporaryFolder folder;
    const std::string text("line\r\nother\0byte\xC3\xA4\n", 20);
    REQUIRE(files::writeTextFile(folder / "a.txt", text).has_value());
    const auto back = files::readTextFile(folder / "a.txt");
    REQUIRE(back.has_value());
    CHECK(*back == text);
    REQUIRE(files::writeTextFile(folder / "b.txt", "").has_value());
    const auto empty = files::readTextFile(folder / "b.txt");
    REQUIRE(empty.has_value());
    CHECK(empty->empty());
}

TEST_CASE("Text that is missing, a folder or too large is refused by name", "[core][files]")
{
    const test::TemporaryFolder folder;
    const auto missing = files::readTextFile(folder / "none.txt");
    REQUIRE_FALSE(missing.has_value());
    CHECK(missing.error().code == dsp::ErrorCode::notFound);
    CHECK_THAT(missing.error().message, Contains("none.txt"));
    const auto asFolder = files::readTextFile(folder.path());
    REQUIRE_FALSE(asFolder.has_value());
    CHECK(asFolder.error().code == dsp::ErrorCode::unreadable);
    test::writeBytes(folder / "big.txt", std::string(101, 'x'));
    const auto large = files::readTextFile(folder / "big.txt", 100);
    REQUIRE_FALSE(large.has_value());
    CHECK_THAT(large.error().message, Contains("too large") && Contains("101"));
}

#if !defined(_WIN32)
TEST_CASE("A pipe or device is not replaced by a file", "[core][files]")
{
    const test::TemporaryFolder folder;
    const auto pipe = folder / "pipe";
    REQUIRE(mkfifo(pipe.c_str(), 0600) == 0);
    const auto written = files::writeTextFile(pipe, "text");
    REQUIRE_FALSE(written.has_value());
    CHECK_THAT(written.error().message, Contains("pipe") && Contains("device"));
    CHECK(std::filesystem::is_fifo(pipe));
    CHECK(folder.numEntries() == 1);
}
#endif

TEST_CASE("The checksum is CRC-32 and tells a changed file", "[core][files]")
{
    const test::TemporaryFolder folder;
    // The check value that the CRC catalogue gives for "123456789".
    test::writeBytes(folder / "a.bin", "123456789");
    const auto known = files::fileChecksum(folder / "a.bin");
    REQUIRE(known.has_value());
    CHECK(*known == "cbf43926");
    test::writeBytes(folder / "a.bin", "123456780");
    const auto changed = files::fileChecksum(folder / "a.bin");
    REQUIRE(changed.has_value());
    CHECK(*changed != *known);
    test::writeBytes(folder / "a.bin", "");
    const auto empty = files::fileChecksum(folder / "a.bin");
    REQUIRE(empty.has_value());
    CHECK(*empty == "00000000");
    CHECK_FALSE(files::fileChecksum(folder / "none").has_value());
}
