#include "CommandLine/Options.h"

#include <cstddef>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace saddletone::commandline {

CLI::App* addVerb(CLI::App& parent, const std::string& name, const std::string& help)
{
    return parent.add_subcommand(name, help);
}

template <typename Value>
CLI::Option* addOption(CLI::App& verb, const std::string& name, Value& value,
                       const std::string& help)
{
    return verb.add_option(name, value, help);
}

CLI::Option* addFlag(CLI::App& verb, const std::string& name, bool& value, const std::string& help)
{
    return verb.add_flag(name, value, help);
}

CLI::Validator oneOf(std::vector<std::string> words)
{
    return CLI::IsMember(std::move(words));
}

#define SADDLETONE_OPTION_OF(Value)                                                                \
    template CLI::Option* addOption(CLI::App&, const std::string&, Value&, const std::string&)

SADDLETONE_OPTION_OF(double);
SADDLETONE_OPTION_OF(int);
SADDLETONE_OPTION_OF(long long);
SADDLETONE_OPTION_OF(std::size_t);
SADDLETONE_OPTION_OF(std::string);
SADDLETONE_OPTION_OF(std::vector<double>);
SADDLETONE_OPTION_OF(std::vector<int>);
SADDLETONE_OPTION_OF(std::vector<std::string>);
SADDLETONE_OPTION_OF(std::optional<double>);
SADDLETONE_OPTION_OF(std::optional<int>);
SADDLETONE_OPTION_OF(std::optional<long long>);
SADDLETONE_OPTION_OF(std::optional<std::size_t>);
SADDLETONE_OPTION_OF(std::optional<std::string>);

#undef SADDLETONE_OPTION_OF

} // namespace saddletone::commandline
