#include "Support/RefusedWrites.h"

#include <csignal>
#include <stdexcept>

#include <sys/resource.h>
#include <unistd.h>

namespace saddletone::test {

Unprivileged::Unprivileged() : previousUser(geteuid())
{
    constexpr unsigned nobody = 65534;
    if (previousUser == 0 && seteuid(nobody) != 0)
        throw std::runtime_error("cannot give up the superuser's rights");
}

Unprivileged::~Unprivileged()
{
    // Going back to the saved user cannot fail.
    [[maybe_unused]] const int result = seteuid(previousUser);
}

FileSizeLimit::FileSizeLimit(unsigned long maxBytes)
    // Without a handler the limit ends the process instead of failing the write.
    : previousHandler(std::signal(SIGXFSZ, SIG_IGN))
{
    rlimit limit {};
    getrlimit(RLIMIT_FSIZE, &limit);
    previousLimit = limit.rlim_cur;
    limit.rlim_cur = maxBytes;
    if (setrlimit(RLIMIT_FSIZE, &limit) != 0)
        throw std::runtime_error("cannot limit the size of files");
}

FileSizeLimit::~FileSizeLimit()
{
    rlimit limit {};
    getrlimit(RLIMIT_FSIZE, &limit);
    limit.rlim_cur = previousLimit;
    setrlimit(RLIMIT_FSIZE, &limit);
    std::signal(SIGXFSZ, previousHandler);
}

} // namespace saddletone::test
