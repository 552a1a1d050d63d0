#pragma once

namespace saddletone::test {

/** Takes the rights of the superuser from this process for as long as the object lives, so that a
    read-only folder is read-only also where tests run as root. Other users have no such rights to
    begin with. */
class Unprivileged {
public:
    Unprivileged();
    ~Unprivileged();
    Unprivileged(const Unprivileged&) = delete;
    Unprivileged& operator=(const Unprivileged&) = delete;

private:
    unsigned previousUser;
};

/** Lets no file of this process grow beyond a size for as long as the object lives: writes then
    fail as they do on a full disk. */
class FileSizeLimit {
public:
    explicit FileSizeLimit(unsigned long maxBytes);
    ~FileSizeLimit();
    FileSizeLimit(const FileSizeLimit&) = delete;
    FileSizeLimit& operator=(const FileSizeLimit&) = delete;

private:
    unsigned long previousLimit;
    void (*previousHandler)(int);
};

} // namespace saddletone::test
