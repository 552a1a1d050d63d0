#include "Core/Files/StateElement.h"

#include <catch2/catch.hpp>

#include <cstdint>
#include <span>
#include <string>

using namespace saddletone;
using files::StateElement;

namespace {

/** The head of a state in front of its text. */
std::string stateOf(const std::string& xml)
{
    std::string bytes = "VC2!";
    for (const unsigned shift : {0U, 8U, 16U, 24U})
        bytes += static_cast<char>((xml.size() >> shift) & 0xFFU);
    return bytes + xml + '\0';
}

dsp::Result<StateElement> parse(const std::string& bytes)
{
    return files::parseStateBytes(
        {reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size()});
}

std::string repeated(const std::string& text, std::size_t times)
{
    std::string all;
    for (std::size_t index = 0; index < times; ++index)
        all += text;
    return all;
}

std::string nested(std::size_t depth)
{
    return repeated("<a>", depth) + repeated("</a>", depth);
}

} // namespace

TEST_CASE("A state is read with its attributes, children and text in their order",
          "[core][files][state]")
{
    const auto read = parse(stateOf("<?xml version=\"1.0\" encoding=\"UTF-8\"?> "
                                    "<saddletone schemaVersion=\"1\" jobFolder='/a \"b\"'>"
                                    "<programme file=\"1.wav\"/>\n"
                                    "<route>by the <stop km=\"12\"></stop> sea</route>"
                                    "</saddletone> "));
    REQUIRE(read);
    StateElement expected;
    expected.tag = "saddletone";
    expected.attributes = {{"schemaVersion", "1"}, {"jobFolder", "/a \"b\""}};
    StateElement& programme = expected.children.emplace_back();
    programme.tag = "programme";
    programme.attributes = {{"file", "1.wav"}};
    StateElement& route = expected.children.emplace_back();
    route.tag = "route";
    route.children.emplace_back().text = "by the ";
    StateElement& stop = route.children.emplace_back();
    stop.tag = "stop";
    stop.attributes = {{"km", "12"}};
    route.children.emplace_back().text = " sea";
    CHECK(*read == expected);
}

TEST_CASE("Entities of a state become their characters", "[core][files][state]")
{
    const auto read = parse(stateOf("<s a=\"&amp;&lt;&gt;&quot;&apos;\" b=\"K&#252;ste\" "
                                    "c=\"&#x1F3CD;&#10;\" d=\"&#55296;&#0;\"/>"));
    REQUIRE(read);
    REQUIRE(read->attributes.size() == 4);
    CHECK(read->attributes[0].value == "&<>\"'");
    CHECK(read->attributes[1].value == "K\u00FCste");
    CHECK(read->attributes[2].value == "\U0001F3CD\n");
    CHECK(read->attributes[3].value == "\uFFFD\uFFFD");
}

TEST_CASE("A state may have lost what stands behind its last tag, or have gained it",
          "[core][files][state]")
{
    const std::string whole = stateOf("<s a=\"1\"/> ");
    CHECK(parse(whole.substr(0, whole.size() - 2)));
    CHECK(parse(whole + "what a host put behind"));
    std::string longer = whole;
    longer[7] = '\x7F'; // the highest byte of the length
    CHECK(parse(longer));
}

TEST_CASE("A state that is damaged or more than a state is refused", "[core][files][state]")
{
    const std::string xml = GENERATE(
        as<std::string> {}, "", " ", "<", "<s", "<s ", "<s a", "<s a=", "<s a=\"", "<s a=\"&",
        "<s a=\"&#", "<s a=\"&#x", "<s a=\"&#x;\"/>", "<s a=\"&#12a;\"/>", "<s a=\"&mine;\"/>",
        "<s a=\"<\"/>", "<s a=1/>", "<sa=\"1\"/>", "<s a=\"1\"b=\"2\"/>", "<s a=\"1\" a=\"2\"/>",
        "<s/", "<s>", "<s></", "<s></t>", "<s><t></s></t>", "<s/><s/>", "<s/>and more", "more<s/>",
        "<?xml <s/>", "<!DOCTYPE s [<!ENTITY a \"&a;\">]><s a=\"&a;\"/>", "<!-- --><s/>",
        "<s><!-- --></s>", "<s><![CDATA[ ]]></s>", "<1/>", "<s 1=\"\"/>", "<s a=\"\xFC\"/>");
    CAPTURE(xml);
    const auto read = parse(stateOf(xml));
    REQUIRE_FALSE(read);
    CHECK(read.error().code == dsp::ErrorCode::malformed);
    CHECK(read.error().message == files::damagedStateWords);
}

TEST_CASE("What is no state at all is refused", "[core][files][state]")
{
    const std::string whole = stateOf("<s/>");
    CHECK_FALSE(parse(""));
    CHECK_FALSE(parse("VC2!"));
    CHECK_FALSE(parse(whole.substr(0, 8)));
    CHECK_FALSE(parse("VC3!" + whole.substr(4)));
    CHECK_FALSE(parse(stateOf("").substr(0, 8) + "<s/>")); // whose length is stated as nothing
}

TEST_CASE("States are read to their stated limits and not beyond", "[core][files][state]")
{
    CHECK(parse(stateOf(nested(files::maxStateDepth))));
    CHECK_FALSE(parse(stateOf(nested(files::maxStateDepth + 1))));
    CHECK_FALSE(parse(stateOf(repeated("<a>", 1'000'000))));

    const auto withAttributes = [](std::size_t count) {
        std::string xml = "<s";
        for (std::size_t index = 0; index < count; ++index)
            xml += " a" + std::to_string(index) + "=\"\"";
        return stateOf(xml + "/>");
    };
    CHECK(parse(withAttributes(files::maxStateAttributes)));
    CHECK_FALSE(parse(withAttributes(files::maxStateAttributes + 1)));

    const std::string around = "<s a=\"\"/>";
    const auto ofBytes = [&](std::size_t numBytes) {
        return stateOf("<s a=\"" + std::string(numBytes - around.size(), 'x') + "\"/>");
    };
    CHECK(parse(ofBytes(files::maxStateBytes)));
    CHECK_FALSE(parse(ofBytes(files::maxStateBytes + 1)));
}
