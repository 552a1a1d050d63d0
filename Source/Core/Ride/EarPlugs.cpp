#include "Core/Ride/EarPlugs.h"

#include <string>

namespace saddletone::ride {

std::string_view earPlugsName(EarPlugs plugs) noexcept
{
    switch (plugs) {
    case EarPlugs::nominal: return "nominal";
    case EarPlugs::cautious: return "cautious";
    case EarPlugs::none: break;
    }
    return "none";
}

dsp::Result<EarPlugs> parseEarPlugs(std::string_view name)
{
    for (const EarPlugs plugs : allEarPlugs)
        if (earPlugsName(plugs) == name)
            return plugs;
    return dsp::fail(dsp::ErrorCode::malformed,
                     "ear plugs '" + std::string(name)
                         + "' are not known; use none, nominal or cautious");
}

double EarPlugModel::lossDb(EarPlugs plugs) const noexcept
{
    switch (plugs) {
    case EarPlugs::nominal: return nominalLossDb;
    case EarPlugs::cautious: return cautiousLossDb;
    case EarPlugs::none: break;
    }
    return 0.0;
}

} // namespace saddletone::ride
