#include "Support/LockCounter.h"

#include <cstdlib>

// GCC defines a macro for each sanitizer, clang has them as features.
#if defined(__SANITIZE_THREAD__) || defined(__SANITIZE_ADDRESS__)
#define SADDLETONE_IS_SANITIZED 1
#elif defined(__has_feature)
#if __has_feature(thread_sanitizer) || __has_feature(address_sanitizer)
#define SADDLETONE_IS_SANITIZED 1
#endif
#endif

#if defined(__GLIBC__) && !defined(SADDLETONE_IS_SANITIZED)
#define SADDLETONE_COUNTS_LOCKS 1
#else
#define SADDLETONE_COUNTS_LOCKS 0
#endif

#if SADDLETONE_COUNTS_LOCKS
#include <dlfcn.h>
#include <pthread.h>
#endif

namespace {

thread_local std::size_t locks = 0;

#if SADDLETONE_COUNTS_LOCKS
/** The C library's function of that name; looked up at each call, since a lazily filled table
    would itself need a lock. */
template <typename Function>
Function* original(const char* name) noexcept
{
    return reinterpret_cast<Function*>(dlsym(RTLD_NEXT, name));
}
#endif

} // namespace

#if SADDLETONE_COUNTS_LOCKS
extern "C" {

int pthread_mutex_lock(pthread_mutex_t* mutex) noexcept
{
    ++locks;
    return original<int(pthread_mutex_t*)>("pthread_mutex_lock")(mutex);
}

int pthread_mutex_trylock(pthread_mutex_t* mutex) noexcept
{
    ++locks;
    return original<int(pthread_mutex_t*)>("pthread_mutex_trylock")(mutex);
}

int pthread_rwlock_rdlock(pthread_rwlock_t* lock) noexcept
{
    ++locks;
    return original<int(pthread_rwlock_t*)>("pthread_rwlock_rdlock")(lock);
}

int pthread_rwlock_wrlock(pthread_rwlock_t* lock) noexcept
{
    ++locks;
    return original<int(pthread_rwlock_t*)>("pthread_rwlock_wrlock")(lock);
}

} // extern "C"
#endif

namespace saddletone::test {

LockCounter::LockCounter() noexcept : locksAtStart(locks) {}

std::size_t LockCounter::numLocks() const noexcept
{
    return locks - locksAtStart;
}

bool LockCounter::isAvailable() noexcept
{
    return SADDLETONE_COUNTS_LOCKS == 1;
}

} // namespace saddletone::test
