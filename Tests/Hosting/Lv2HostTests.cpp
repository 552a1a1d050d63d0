// The built LV2 in a host of lilv, which is what most hosts of LV2 use. What it plays is held
// against the processor inside this program, to the bit.
#include "Gui/ParameterIds.h"
#include "Plugin/RidePrograms.h"
#include "Support/PlayedJob.h"

#include <catch2/catch.hpp>

#include <lilv/lilv.h>
#include <lv2/atom/atom.h>
#include <lv2/buf-size/buf-size.h>
#include <lv2/options/options.h>
#include <lv2/presets/presets.h>
#include <lv2/state/state.h>
#include <lv2/urid/urid.h>

#include <algorithm>
#include <array>
#include <cstring>
#include <map>
#include <memory>
#include <mutex>
#include <set>
#include <string>
#include <vector>

using namespace saddletone;
namespace ids = gui::parameterIds;

namespace {

using test::Stereo;

constexpr const char* pluginUri = JucePlugin_LV2URI;
constexpr std::uint32_t maxBlockFrames = 8192;

/** Numbers for URIs, from 1 on. The plug-in asks from threads of its own as well. */
class UriMap {
public:
    LV2_URID number(const std::string& uri)
    {
        const std::lock_guard lock(mutex);
        const auto [found, isNew] = numbers.emplace(uri, static_cast<LV2_URID>(numbers.size() + 1));
        if (isNew)
            uris[found->second] = uri;
        return found->second;
    }
    const char* uri(LV2_URID number)
    {
        const std::lock_guard lock(mutex);
        const auto found = uris.find(number);
        return found != uris.end() ? found->second.c_str() : nullptr;
    }

private:
    std::mutex mutex;
    std::map<std::string, LV2_URID> numbers;
    std::map<LV2_URID, std::string> uris;
};

/** One value of a state. */
struct Property {
    std::vector<char> bytes;
    LV2_URID type = 0;
};
using Properties = std::map<LV2_URID, Property>;

struct Nodes {
    void operator()(LilvNode* node) const { lilv_node_free(node); }
};
using Node = std::unique_ptr<LilvNode, Nodes>;

/** The built bundle and nothing else, as a host sees it. */
class Bundle {
public:
    Bundle() : world(lilv_world_new(), lilv_world_free)
    {
        const Node folder(
            lilv_new_file_uri(world.get(), nullptr, (std::string(SADDLETONE_LV2) + "/").c_str()));
        lilv_world_load_bundle(world.get(), folder.get());
        const Node uri = node(pluginUri);
        plugin = lilv_plugins_get_by_uri(lilv_world_get_all_plugins(world.get()), uri.get());
        REQUIRE(plugin != nullptr);
    }

    [[nodiscard]] Node node(const char* uri) const { return Node(lilv_new_uri(world.get(), uri)); }

    std::unique_ptr<LilvWorld, decltype(&lilv_world_free)> world;
    const LilvPlugin* plugin = nullptr;
};

/** An instance with all its ports connected. */
class Instance {
public:
    Instance(Bundle& bundle, double rate)
    {
        options = {LV2_Options_Option {LV2_OPTIONS_INSTANCE, 0,
                                       uris.number(LV2_BUF_SIZE__maxBlockLength), sizeof(int),
                                       uris.number(LV2_ATOM__Int), &maxBlock},
                   LV2_Options_Option {LV2_OPTIONS_INSTANCE, 0, 0, 0, 0, nullptr}};
        instance.reset(lilv_plugin_instantiate(bundle.plugin, rate, features.data()));
        REQUIRE(instance != nullptr);
        const std::uint32_t numPorts = lilv_plugin_get_num_ports(bundle.plugin);
        const Node audio = bundle.node(LV2_CORE__AudioPort);
        const Node control = bundle.node(LV2_CORE__ControlPort);
        const Node input = bundle.node(LV2_CORE__InputPort);
        values.assign(numPorts, 0.0F);
        lilv_plugin_get_port_ranges_float(bundle.plugin, nullptr, nullptr, values.data());
        std::size_t numIns = 0;
        std::size_t numOuts = 0;
        for (std::uint32_t index = 0; index < numPorts; ++index) {
            const LilvPort* const port = lilv_plugin_get_port_by_index(bundle.plugin, index);
            const bool isInput = lilv_port_is_a(bundle.plugin, port, input.get());
            const std::string symbol =
                lilv_node_as_string(lilv_port_get_symbol(bundle.plugin, port));
            void* place = nullptr;
            if (lilv_port_is_a(bundle.plugin, port, audio.get())) {
                std::size_t& count = isInput ? numIns : numOuts;
                REQUIRE(count < 2);
                auto& channels = isInput ? ins : outs;
                channels[count].resize(maxBlockFrames);
                place = channels[count++].data();
            } else if (lilv_port_is_a(bundle.plugin, port, control.get())) {
                place = &values[index];
                portOf[symbol] = index;
            } else {
                auto& events = isInput ? eventsIn : eventsOut;
                events.assign(65536 / sizeof(std::uint64_t), 0);
                place = events.data();
            }
            lilv_instance_connect_port(instance.get(), index, place);
        }
        REQUIRE(numIns == 2);
        REQUIRE(numOuts == 2);
        lilv_instance_activate(instance.get());
    }
    ~Instance() { lilv_instance_deactivate(instance.get()); }

    Instance(const Instance&) = delete;
    Instance& operator=(const Instance&) = delete;

    [[nodiscard]] float& value(const char* symbol)
    {
        REQUIRE(portOf.contains(symbol));
        return values[portOf.at(symbol)];
    }

    Stereo process(const Stereo& input, std::size_t blockFrames)
    {
        Stereo output = input;
        for (std::size_t done = 0; done < input[0].size(); done += blockFrames) {
            const std::size_t count = std::min(blockFrames, input[0].size() - done);
            for (std::size_t channel = 0; channel < 2; ++channel)
                std::copy_n(input[channel].data() + done, count, ins[channel].data());
            *reinterpret_cast<LV2_Atom_Sequence*>(eventsIn.data()) = {
                {sizeof(LV2_Atom_Sequence_Body), uris.number(LV2_ATOM__Sequence)}, {0, 0}};
            reinterpret_cast<LV2_Atom_Sequence*>(eventsOut.data())->atom = {
                static_cast<std::uint32_t>(65536 - sizeof(LV2_Atom)), uris.number(LV2_ATOM__Chunk)};
            lilv_instance_run(instance.get(), static_cast<std::uint32_t>(count));
            for (std::size_t channel = 0; channel < 2; ++channel)
                std::copy_n(outs[channel].data(), count, output[channel].data() + done);
        }
        return output;
    }

    [[nodiscard]] Properties save()
    {
        Properties saved;
        const LV2_State_Status status = stateInterface().save(
            lilv_instance_get_handle(instance.get()),
            [](LV2_State_Handle handle, std::uint32_t key, const void* bytes, std::size_t size,
               std::uint32_t type, std::uint32_t) {
                const auto* const first = static_cast<const char*>(bytes);
                (*static_cast<Properties*>(handle))[key] = {{first, first + size}, type};
                return LV2_STATE_SUCCESS;
            },
            &saved, 0, features.data());
        REQUIRE(status == LV2_STATE_SUCCESS);
        return saved;
    }

    LV2_State_Status restore(Properties properties)
    {
        return stateInterface().restore(
            lilv_instance_get_handle(instance.get()),
            [](LV2_State_Handle handle, std::uint32_t key, std::size_t* size, std::uint32_t* type,
               std::uint32_t* flags) -> const void* {
                const auto& all = *static_cast<const Properties*>(handle);
                const auto found = all.find(key);
                if (found == all.end())
                    return nullptr;
                *size = found->second.bytes.size();
                *type = found->second.type;
                *flags = LV2_STATE_IS_POD | LV2_STATE_IS_PORTABLE;
                return found->second.bytes.data();
            },
            &properties, 0, features.data());
    }

    UriMap uris;
    std::unique_ptr<LilvInstance, decltype(&lilv_instance_free)> instance {nullptr,
                                                                           lilv_instance_free};

private:
    [[nodiscard]] const LV2_State_Interface& stateInterface() const
    {
        const void* const found =
            lilv_instance_get_extension_data(instance.get(), LV2_STATE__interface);
        REQUIRE(found != nullptr);
        return *static_cast<const LV2_State_Interface*>(found);
    }

    const int maxBlock = static_cast<int>(maxBlockFrames);
    std::array<LV2_Options_Option, 2> options {};
    LV2_URID_Map map {&uris, [](LV2_URID_Map_Handle handle, const char* uri) {
                          return static_cast<UriMap*>(handle)->number(uri);
                      }};
    LV2_URID_Unmap unmap {&uris, [](LV2_URID_Unmap_Handle handle, LV2_URID number) {
                              return static_cast<UriMap*>(handle)->uri(number);
                          }};
    LV2_Feature mapFeature {LV2_URID__map, &map};
    LV2_Feature unmapFeature {LV2_URID__unmap, &unmap};
    LV2_Feature optionsFeature {LV2_OPTIONS__options, options.data()};
    LV2_Feature boundedFeature {LV2_BUF_SIZE__boundedBlockLength, nullptr};
    std::array<const LV2_Feature*, 5> features {&mapFeature, &unmapFeature, &optionsFeature,
                                                &boundedFeature, nullptr};
    std::array<std::vector<float>, 2> ins;
    std::array<std::vector<float>, 2> outs;
    std::vector<float> values;
    std::vector<std::uint64_t> eventsIn; // atoms lie at multiples of eight bytes
    std::vector<std::uint64_t> eventsOut;
    std::map<std::string, std::uint32_t> portOf;
};

/** A state of the processor as the LV2 keeps it: text in the one property that it saves. */
Properties withState(Instance& instance, const juce::MemoryBlock& state)
{
    Properties properties = instance.save();
    REQUIRE(properties.size() == 1);
    const std::string text = state.toBase64Encoding().toStdString();
    properties.begin()->second.bytes.assign(text.c_str(), text.c_str() + text.size() + 1);
    return properties;
}

juce::MemoryBlock stateIn(const Properties& properties)
{
    juce::MemoryBlock state;
    REQUIRE(properties.size() == 1);
    REQUIRE(state.fromBase64Encoding(properties.begin()->second.bytes.data()));
    return state;
}

double savedParameter(Instance& instance, const char* id)
{
    const juce::MemoryBlock state = stateIn(instance.save());
    const auto xml =
        juce::AudioProcessor::getXmlFromBinary(state.getData(), static_cast<int>(state.getSize()));
    REQUIRE(xml != nullptr);
    for (const auto* const child : xml->getChildWithTagNameIterator("parameter"))
        if (child->getStringAttribute("id") == id)
            return child->getDoubleAttribute("value");
    FAIL(id << " is not there");
    return 0.0;
}

} // namespace

TEST_CASE("lilv finds the LV2 whole, and it asks for nothing unusual", "[hosting][lv2]")
{
    Bundle bundle;
    CHECK(lilv_plugin_verify(bundle.plugin));
    const Node name(lilv_plugin_get_name(bundle.plugin));
    CHECK(std::string(lilv_node_as_string(name.get())) == "Saddletone");
    const std::set<std::string> known {LV2_URID__map, LV2_OPTIONS__options,
                                       LV2_BUF_SIZE__boundedBlockLength};
    LilvNodes* const required = lilv_plugin_get_required_features(bundle.plugin);
    LILV_FOREACH(nodes, each, required)
    CHECK(known.contains(lilv_node_as_uri(lilv_nodes_get(required, each))));
    lilv_nodes_free(required);
    LilvUIs* const editors = lilv_plugin_get_uis(bundle.plugin);
    CHECK(lilv_uis_size(editors) == 1);
    lilv_uis_free(editors);
}

TEST_CASE("The LV2 plays a session's job at every rate and block size as the processor does",
          "[hosting][lv2]")
{
    test::PlayedJob played;
    test::set(played.processor, ids::candidate, 2);
    test::set(played.processor, ids::speedKmh, 70.5);
    const juce::MemoryBlock state = test::stateOf(played.processor);
    const Stereo programme = test::makeProgramme(16384);
    Bundle bundle;
    for (const double rate : {44100.0, 48000.0, 88200.0, 96000.0, 176400.0, 192000.0}) {
        Instance hosted(bundle, rate);
        plugin::AuditionProcessor processor;
        processor.prepareToPlay(rate, static_cast<int>(maxBlockFrames));
        REQUIRE(hosted.restore(withState(hosted, state)) == LV2_STATE_SUCCESS);
        test::restore(processor, state);
        // So that both build what they have to before they go on.
        hosted.value("freeWheeling") = 1.0F;
        processor.setNonRealtime(true);
        bool isHeard = false;
        for (const std::size_t blockFrames : {1, 16, 64, 127, 512, 4096, 8192}) {
            INFO(rate << " Hz, blocks of " << blockFrames);
            const Stereo expected = test::process(processor, programme, {blockFrames});
            const Stereo heard = hosted.process(programme, blockFrames);
            isHeard = isHeard || test::peakOf(expected) > 1e-3F;
            CHECK(test::isAllFinite(heard));
            CHECK(heard == expected);
            hosted.value("freeWheeling") = 0.0F;
            processor.setNonRealtime(false);
        }
        CHECK(isHeard);
        CHECK(hosted.value("latency") == 0.0F);
    }
}

TEST_CASE("The LV2's state comes back in another instance, and damage does no harm",
          "[hosting][lv2]")
{
    plugin::AuditionProcessor processor;
    test::set(processor, ids::speedKmh, 33.0);
    test::set(processor, ids::outputLevelDb, -27.5);
    Bundle bundle;
    Instance first(bundle, 48000.0);
    REQUIRE(first.restore(withState(first, test::stateOf(processor))) == LV2_STATE_SUCCESS);
    CHECK(stateIn(first.save()) == test::stateOf(processor));
    Instance second(bundle, 96000.0);
    REQUIRE(second.restore(withState(second, stateIn(first.save()))) == LV2_STATE_SUCCESS);
    CHECK(stateIn(second.save()) == test::stateOf(processor));
    static_cast<void>(second.restore(withState(second, juce::MemoryBlock("garbage", 7))));
    static_cast<void>(second.restore({}));
    CHECK(stateIn(second.save()) == test::stateOf(processor));
}

TEST_CASE("The LV2 offers the rides as presets", "[hosting][lv2]")
{
    Bundle bundle;
    const Node presetClass = bundle.node(LV2_PRESETS__Preset);
    const Node labelKey = bundle.node(LILV_NS_RDFS "label");
    LilvNodes* const presets = lilv_plugin_get_related(bundle.plugin, presetClass.get());
    Instance instance(bundle, 48000.0);
    LV2_URID_Map map {&instance.uris, [](LV2_URID_Map_Handle handle, const char* uri) {
                          return static_cast<UriMap*>(handle)->number(uri);
                      }};
    std::set<std::string> labels;
    LILV_FOREACH(nodes, each, presets)
    {
        const LilvNode* const preset = lilv_nodes_get(presets, each);
        const Node label(lilv_world_get(bundle.world.get(), preset, labelKey.get(), nullptr));
        REQUIRE(label != nullptr);
        labels.insert(lilv_node_as_string(label.get()));
        const auto program = std::ranges::find_if(plugin::ridePrograms, [&](const auto& ride) {
            return std::string(ride.name) == lilv_node_as_string(label.get());
        });
        REQUIRE(program != plugin::ridePrograms.end());
        const std::unique_ptr<LilvState, decltype(&lilv_state_free)> state(
            lilv_state_new_from_world(bundle.world.get(), &map, preset), lilv_state_free);
        REQUIRE(state != nullptr);
        lilv_state_restore(state.get(), instance.instance.get(), nullptr, nullptr, 0, nullptr);
        if (program->speedKmh)
            CHECK(savedParameter(instance, ids::speedKmh) == Approx(*program->speedKmh));
    }
    lilv_nodes_free(presets);
    CHECK(labels.size() == plugin::ridePrograms.size());
}

TEST_CASE("The LV2's switch bypasses it, and instances side by side are apart", "[hosting][lv2]")
{
    Bundle bundle;
    Instance one(bundle, 48000.0);
    Instance other(bundle, 48000.0);
    const Stereo programme = test::makeProgramme(96000, 0.05);
    one.value("enabled") = 0.0F;
    const Stereo bypassed = one.process(programme, 512);
    const Stereo played = other.process(programme, 512);
    CHECK(test::peakOf(bypassed) > 0.001F);
    // Without a job there is nothing to be heard but by the way around it.
    CHECK(test::peakOf(played) == 0.0F);
    CHECK(savedParameter(one, ids::bypass) == 1.0);
    CHECK(savedParameter(other, ids::bypass) == 0.0);
}
