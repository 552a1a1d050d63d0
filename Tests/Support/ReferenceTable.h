#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace saddletone::test {

/** A published table out of Tests/Reference: lines that begin with '#' name its source, then come
    a header row and rows set apart by commas. Throws at a missing file or column and at a field
    that is no number. */
class ReferenceTable {
public:
    /** fileName: within Tests/Reference. */
    explicit ReferenceTable(std::string_view fileName);

    [[nodiscard]] std::size_t numRows() const noexcept { return rows.size(); }
    [[nodiscard]] const std::string& text(std::size_t row, std::string_view column) const;
    [[nodiscard]] double number(std::size_t row, std::string_view column) const;
    [[nodiscard]] std::vector<double> numbers(std::string_view column) const;

private:
    std::string name;
    std::vector<std::string> header;
    std::vector<std::vector<std::string>> rows;
};

} // namespace saddletone::test
