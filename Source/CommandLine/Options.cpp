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

using Words = const std::string&;
template CLI::Option* addOption(CLI::App&, Words, double&, Words);
template CLI::Option* addOption(CLI::App&, Words, int&, Words);
template CLI::Option* addOption(CLI::App&, Words, long long&, Words);
template CLI::Option* addOption(CLI::App&, Words, std::size_t&, Words);
template CLI::Option* addOption(CLI::App&, Words, std::string&, Words);
template CLI::Option* addOption(CLI::App&, Words, std::vector<double>&, Words);
template CLI::Option* addOption(CLI::App&, Words, std::vector<int>&, Words);
template CLI::Option* addOption(CLI::App&, Words, std::vector<std::string>&, Words);
template CLI::Option* addOption(CLI::App&, Words, std::optional<double>&, Words);
template CLI::Option* addOption(CLI::App&, Words, std::optional<int>&, Words);
template CLI::Option* addOption(CLI::App&, Words, std::optional<long long>&, Words);
template CLI::Option* addOption(CLI::App&, Words, std::optional<std::size_t>&, Words);
template CLI::Option* addOption(CLI::App&, Words, std::optional<std::string>&, Words);

} // namespace saddletone::commandline
