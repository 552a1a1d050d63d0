#include "Core/Seat/SofaFile.h"

#include "Core/Files/TextTable.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <fstream>
#include <memory>
#include <numbers>
#include <optional>
#include <string_view>

#include <mysofa.h>

namespace saddletone::seat {

namespace {

constexpr std::string_view hdf5Signature = "\x89HDF\r\n\x1a\n";
constexpr std::string_view wantedConvention = "SimpleFreeFieldHRIR";
constexpr unsigned longestImpulse = 65536;

/** So many bytes reach to the end of file address of every version. */
constexpr std::size_t superblockBytes = 52;

dsp::Result<std::string> readSuperblock(const std::filesystem::path& file)
{
    std::error_code reason;
    if (!std::filesystem::exists(file, reason))
        return dsp::fail(dsp::ErrorCode::notFound, "'" + file.string() + "' does not exist");
    if (std::filesystem::is_directory(file, reason))
        return dsp::fail(dsp::ErrorCode::unreadable,
                         "'" + file.string() + "' is a folder, not a file");
    std::ifstream stream(file, std::ios::binary);
    if (!stream)
        return dsp::fail(dsp::ErrorCode::unreadable, "cannot read '" + file.string() + "'");
    std::string bytes(superblockBytes, '\0');
    stream.read(bytes.data(), static_cast<std::streamsize>(bytes.size()));
    bytes.resize(static_cast<std::size_t>(stream.gcount()));
    return bytes;
}

/** The length that an HDF5 file of 64-bit addresses says it has (HDF5 File Format Specification,
    superblock, end of file address); nothing if the superblock does not tell. */
std::optional<std::uint64_t> statedLength(std::string_view superblock)
{
    constexpr std::size_t versionAt = 8;
    if (superblock.size() < superblockBytes)
        return std::nullopt;
    const auto byteAt = [&](std::size_t index) {
        return static_cast<std::uint64_t>(static_cast<unsigned char>(superblock[index]));
    };
    const std::uint64_t version = byteAt(versionAt);
    std::size_t offsetSizeAt = 9;
    std::size_t lengthAt = 28;
    if (version <= 1) {
        offsetSizeAt = 13;
        // Version 1 has four bytes more in front.
        lengthAt = version == 0 ? 40 : 44;
    }
    if (version > 3 || byteAt(offsetSizeAt) != 8 || lengthAt + 8 > superblock.size())
        return std::nullopt;
    std::uint64_t length = 0;
    for (std::size_t byte = 8; byte-- > 0;)
        length = 256 * length + byteAt(lengthAt + byte);
    return length;
}

struct FreeHrtf {
    void operator()(MYSOFA_HRTF* hrtf) const noexcept { mysofa_free(hrtf); }
};
using Hrtf = std::unique_ptr<MYSOFA_HRTF, FreeHrtf>;

std::string attributeOf(const MYSOFA_HRTF& hrtf, std::string_view name)
{
    for (const MYSOFA_ATTRIBUTE* attribute = hrtf.attributes; attribute != nullptr;
         attribute = attribute->next)
        if (attribute->name != nullptr && attribute->value != nullptr && name == attribute->name)
            return attribute->value;
    return {};
}

/** libmysofa's code in words. */
std::string reasonOf(int code)
{
    switch (code) {
    case MYSOFA_NO_MEMORY: return "it needs more memory than there is";
    case MYSOFA_READ_ERROR: return "it is cut off";
    case MYSOFA_INVALID_FORMAT:
    case MYSOFA_UNSUPPORTED_FORMAT: return "its HDF5 structure is damaged or of an unknown kind";
    case MYSOFA_INVALID_ATTRIBUTES: return "attributes that AES69 asks for are missing";
    case MYSOFA_INVALID_DIMENSIONS:
    case MYSOFA_INVALID_DIMENSION_LIST: return "its dimensions do not fit together";
    case MYSOFA_INVALID_COORDINATE_TYPE:
        return "its coordinates are neither spherical nor cartesian";
    case MYSOFA_ONLY_THE_SAME_SAMPLING_RATE_SUPPORTED: return "it has more than one sample rate";
    case MYSOFA_INVALID_RECEIVER_POSITIONS:
    case MYSOFA_RECEIVERS_WITH_RCI_SUPPORTED:
    case MYSOFA_RECEIVERS_WITH_CARTESIAN_SUPPORTED:
        return "its ears do not stand left and right of the middle of the head";
    case MYSOFA_ONLY_SOURCES_WITH_MC_SUPPORTED:
    case MYSOFA_ONLY_EMITTER_WITH_ECI_SUPPORTED: return "its sources are not given one by one";
    default: return "libmysofa reports error " + std::to_string(code);
    }
}

bool allFinite(const MYSOFA_ARRAY& array)
{
    return array.values != nullptr
           && std::all_of(array.values, array.values + array.elements,
                          [](float value) { return std::isfinite(value); });
}

/** Whether arrays are as long as the dimensions say; what follows indexes by them. */
bool fitsDimensions(const MYSOFA_HRTF& hrtf)
{
    const std::size_t numMeasurements = hrtf.M;
    const std::size_t numReceivers = hrtf.R;
    const std::size_t numDelays = hrtf.DataDelay.values == nullptr ? 0 : hrtf.DataDelay.elements;
    return hrtf.DataIR.elements == numMeasurements * numReceivers * hrtf.N
           && hrtf.SourcePosition.elements == 3 * numMeasurements
           && hrtf.ReceiverPosition.elements >= 6 && hrtf.DataSamplingRate.elements >= 1
           && (numDelays == 0 || numDelays == numReceivers
               || numDelays == numReceivers * numMeasurements);
}

} // namespace

dsp::Result<SofaContent> readSofaFile(const std::filesystem::path& file)
{
    const auto refuse = [&](dsp::ErrorCode code, const std::string& reason) {
        return dsp::fail(code, "'" + file.string() + "': " + reason);
    };
    const auto superblock = readSuperblock(file);
    if (!superblock)
        return superblock.unexpected();
    if (!superblock->starts_with(hdf5Signature))
        return refuse(dsp::ErrorCode::malformed,
                      "is no SOFA file (it does not begin as HDF5 does); choose a .sofa file of "
                      "head-related impulse responses");
    // libmysofa relies on a file that is whole.
    std::error_code reason;
    const auto length = statedLength(*superblock);
    if (!length || std::filesystem::file_size(file, reason) < *length || reason)
        return refuse(dsp::ErrorCode::malformed,
                      "is cut off or of an HDF5 version that is not read; fetch or export it "
                      "again");

    int code = MYSOFA_OK;
    const Hrtf hrtf(mysofa_load(file.string().c_str(), &code));
    if (!hrtf)
        return refuse(dsp::ErrorCode::malformed,
                      "cannot be read as SOFA: " + reasonOf(code) + "; fetch or export it again");
    const std::string convention = attributeOf(*hrtf, "SOFAConventions");
    if (attributeOf(*hrtf, "Conventions") != "SOFA" || convention != wantedConvention)
        return refuse(dsp::ErrorCode::unsupported,
                      "has the convention '" + convention + "'; what is needed is '"
                          + std::string(wantedConvention)
                          + "' (impulse responses of a head in the free field, AES69)");
    if (attributeOf(*hrtf, "DataType") != "FIR")
        return refuse(dsp::ErrorCode::unsupported, "holds data of type '"
                                                       + attributeOf(*hrtf, "DataType")
                                                       + "' and not FIR impulse responses");
    if (hrtf->R != numEars)
        return refuse(dsp::ErrorCode::unsupported,
                      "has " + std::to_string(hrtf->R) + " receivers; a head has two ears");
    if (hrtf->M == 0 || hrtf->N == 0 || hrtf->N > longestImpulse || !fitsDimensions(*hrtf))
        return refuse(dsp::ErrorCode::malformed,
                      "its dimensions do not fit together; fetch or export it again");
    if (const int check = mysofa_check(hrtf.get()); check != MYSOFA_OK)
        return refuse(dsp::ErrorCode::unsupported,
                      reasonOf(check) + "; choose another set of head-related responses");
    if (!allFinite(hrtf->DataIR) || !allFinite(hrtf->SourcePosition)
        || !allFinite(hrtf->ReceiverPosition) || !allFinite(hrtf->DataSamplingRate)
        || (hrtf->DataDelay.values != nullptr && !allFinite(hrtf->DataDelay)))
        return refuse(dsp::ErrorCode::outOfRange, "holds values that are not finite numbers");

    SofaContent content;
    content.sampleRate = static_cast<double>(hrtf->DataSamplingRate.values[0]);
    if (!(content.sampleRate >= 8000.0 && content.sampleRate <= 384000.0))
        return refuse(dsp::ErrorCode::outOfRange, "its sample rate of "
                                                      + files::fixedText(content.sampleRate, 0)
                                                      + " Hz is not within 8000 to 384000 Hz");
    content.description = attributeOf(*hrtf, "DatabaseName");
    if (const auto listener = attributeOf(*hrtf, "ListenerShortName"); !listener.empty())
        content.description += (content.description.empty() ? "" : ", ") + listener;

    mysofa_tocartesian(hrtf.get());
    // AES69 leaves the order of receivers to their positions; y points to the left.
    const std::size_t leftReceiver = hrtf->ReceiverPosition.values[1] >= 0.0F ? 0 : 1;
    const bool hasDelayEach = hrtf->DataDelay.values != nullptr
                              && hrtf->DataDelay.elements == numEars * hrtf->M && hrtf->M > 1;
    const std::size_t frames = hrtf->N;
    for (std::size_t index = 0; index < hrtf->M; ++index) {
        SofaMeasurement measurement;
        const float* position = hrtf->SourcePosition.values + 3 * index;
        const auto x = static_cast<double>(position[0]);
        const auto y = static_cast<double>(position[1]);
        const auto z = static_cast<double>(position[2]);
        measurement.distanceMetres = std::hypot(x, y, z);
        constexpr double degrees = 180.0 / std::numbers::pi;
        measurement.direction.azimuthDegrees = std::atan2(y, x) * degrees;
        measurement.direction.elevationDegrees = std::atan2(z, std::hypot(x, y)) * degrees;
        for (std::size_t ear = 0; ear < numEars; ++ear) {
            const std::size_t receiver = ear == leftEar ? leftReceiver : 1 - leftReceiver;
            const float* impulse = hrtf->DataIR.values + (index * numEars + receiver) * frames;
            measurement.impulses[ear].assign(impulse, impulse + frames);
            if (hrtf->DataDelay.values != nullptr && hrtf->DataDelay.elements >= numEars)
                measurement.delayFrames[ear] = static_cast<double>(
                    hrtf->DataDelay.values[hasDelayEach ? index * numEars + receiver : receiver]);
            if (measurement.delayFrames[ear] < 0.0
                || measurement.delayFrames[ear] > static_cast<double>(longestImpulse))
                return refuse(dsp::ErrorCode::outOfRange,
                              "its source " + std::to_string(index + 1)
                                  + " has a delay that is negative or too long");
        }
        content.measurements.push_back(std::move(measurement));
    }
    return content;
}

} // namespace saddletone::seat
