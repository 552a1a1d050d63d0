#pragma once

#include <cassert>
#include <string>
#include <utility>
#include <variant>

namespace saddletone::dsp {

/** Why an operation on something from outside (file, argument, recording) failed. */
enum class ErrorCode {
    notFound,       ///< A file or an item named elsewhere does not exist.
    unreadable,     ///< The file exists but cannot be read or decoded.
    malformed,      ///< The text is not what the format asks for (type, key, syntax).
    outOfRange,     ///< A number is outside the range stated for it, or not finite.
    newerSchema,    ///< Written by a newer version of the program.
    notTrustworthy, ///< The recording cannot give a result one may rely on.
    cannotWrite,    ///< The output could not be written; nothing was left behind.
    alreadyExists,  ///< The output exists and is not to be replaced.
    unsupported,    ///< A combination that the format or the program does not have.
};

/** An error with a message for the user: what is wrong, where, and what to do. */
struct Error {
    ErrorCode code = ErrorCode::malformed;
    std::string message;

    bool operator==(const Error&) const = default;
};

/** Wraps an Error so that it converts to any Result; the counterpart of std::unexpected. */
struct Unexpected {
    Error reason;
};

[[nodiscard]] inline Unexpected fail(ErrorCode code, std::string message)
{
    return Unexpected {Error {code, std::move(message)}};
}

/** A value or an Error. C++20 has no std::expected; the member names are the same. */
template <typename T>
class [[nodiscard]] Result {
public:
    Result(T value) : content(std::in_place_index<0>, std::move(value)) {}
    Result(Unexpected unexpected) : content(std::in_place_index<1>, std::move(unexpected.reason)) {}

    [[nodiscard]] bool has_value() const noexcept { return content.index() == 0; }
    [[nodiscard]] explicit operator bool() const noexcept { return has_value(); }

    [[nodiscard]] T& value() &
    {
        assert(has_value());
        return *std::get_if<0>(&content);
    }
    [[nodiscard]] const T& value() const&
    {
        assert(has_value());
        return *std::get_if<0>(&content);
    }
    [[nodiscard]] T&& value() &&
    {
        assert(has_value());
        return std::move(*std::get_if<0>(&content));
    }
    [[nodiscard]] T& operator*() & { return value(); }
    [[nodiscard]] const T& operator*() const& { return value(); }
    [[nodiscard]] T&& operator*() && { return std::move(*this).value(); }
    [[nodiscard]] T* operator->() { return &value(); }
    [[nodiscard]] const T* operator->() const { return &value(); }

    [[nodiscard]] const Error& error() const&
    {
        assert(!has_value());
        return *std::get_if<1>(&content);
    }
    /** The error, ready to be returned as another Result. */
    [[nodiscard]] Unexpected unexpected() const { return Unexpected {error()}; }

private:
    std::variant<T, Error> content;
};

/** Success without a value, or an Error. */
template <>
class [[nodiscard]] Result<void> {
public:
    Result() = default;
    Result(Unexpected unexpected) : content(std::move(unexpected.reason)) {}

    [[nodiscard]] bool has_value() const noexcept { return content.index() == 0; }
    [[nodiscard]] explicit operator bool() const noexcept { return has_value(); }
    [[nodiscard]] const Error& error() const
    {
        assert(!has_value());
        return *std::get_if<1>(&content);
    }
    [[nodiscard]] Unexpected unexpected() const { return Unexpected {error()}; }

private:
    std::variant<std::monostate, Error> content;
};

} // namespace saddletone::dsp
