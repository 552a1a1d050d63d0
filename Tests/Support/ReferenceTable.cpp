#include "Support/ReferenceTable.h"

#include <algorithm>
#include <charconv>
#include <filesystem>
#include <fstream>
#include <stdexcept>

namespace saddletone::test {

namespace {

std::vector<std::string> splitAtCommas(const std::string& line)
{
    std::vector<std::string> fields;
    std::size_t begin = 0;
    while (begin <= line.size()) {
        const std::size_t end = std::min(line.find(',', begin), line.size());
        fields.push_back(line.substr(begin, end - begin));
        begin = end + 1;
    }
    return fields;
}

} // namespace

ReferenceTable::ReferenceTable(std::string_view fileName) : name(fileName)
{
    std::ifstream stream(std::filesystem::path(SADDLETONE_TEST_REFERENCE_DIR) / fileName);
    if (!stream)
        throw std::runtime_error("cannot read the reference table " + name);
    for (std::string line; std::getline(stream, line);) {
        if (line.empty() || line.front() == '#')
            continue;
        auto fields = splitAtCommas(line);
        if (header.empty())
            header = std::move(fields);
        else if (fields.size() == header.size())
            rows.push_back(std::move(fields));
        else
            throw std::runtime_error(name + ": uneven row: " + line);
    }
    if (rows.empty())
        throw std::runtime_error(name + " holds no rows");
}

const std::string& ReferenceTable::text(std::size_t row, std::string_view column) const
{
    const auto found = std::ranges::find(header, column);
    if (found == header.end())
        throw std::runtime_error(name + " has no column " + std::string(column));
    return rows.at(row).at(static_cast<std::size_t>(found - header.begin()));
}

double ReferenceTable::number(std::size_t row, std::string_view column) const
{
    const std::string& field = text(row, column);
    double value = 0.0;
    const auto [end, error] = std::from_chars(field.data(), field.data() + field.size(), value);
    if (error != std::errc() || end != field.data() + field.size())
        throw std::runtime_error(name + ": '" + field + "' is not a number");
    return value;
}

std::vector<double> ReferenceTable::numbers(std::string_view column) const
{
    std::vector<double> values;
    for (std::size_t row = 0; row < rows.size(); ++row)
        values.push_back(number(row, column));
    return values;
}

} // namespace saddletone::test
