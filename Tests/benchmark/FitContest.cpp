// Six filters fitted to eight responses, beside a bounded least-squares fit by scipy of the same
// points, weights and limits: from one start, which may end in a worse fit, and from as many as it
// takes to be as good as ours, up to sixteen.
#include "Contests.h"
#include "Workshop.h"

#include "Core/Tuning/FilterFit.h"
#include "Support/FitFixtures.h"

#include <algorithm>
#include <cstdio>
#include <memory>

#include <benchmark/benchmark.h>
#include <nlohmann/json.hpp>

namespace saddletone::bench {

namespace {

constexpr std::uint64_t numCurves = 8;
constexpr int numFilters = 6;
// As Tests/Scipy/fit_against_scipy.py has it.
constexpr double mostBehindDb = 0.001;
constexpr double mostBehindManyDb = 0.02;

tuning::FilterLimits limitsOfAll()
{
    tuning::FilterLimits limits;
    limits.leastBenefitDb = 0.0;
    return limits;
}

nlohmann::json asQuestion(const std::vector<tuning::FitCurve>& curves)
{
    const tuning::FilterLimits limits = limitsOfAll();
    nlohmann::json question {{"do", "fit"},
                             {"curves", nlohmann::json::array()},
                             {"limits",
                              {{"maxBoostDb", limits.maxBoostDb},
                               {"maxCutDb", limits.maxCutDb},
                               {"headroomDb", limits.headroomDb},
                               {"maxLossDb", limits.maxLossDb},
                               {"minQ", limits.minQ},
                               {"maxQ", limits.maxQ},
                               {"maxShelfQ", tuning::maxShelfQ},
                               {"fromHz", limits.fromHz},
                               {"toHz", limits.toHz}}}};
    for (const tuning::FitCurve& curve : curves) {
        auto points = nlohmann::json::array();
        for (const tuning::FitPoint& point : curve.points)
            points.push_back({{"frequencyHz", point.frequencyHz},
                              {"levelDb", point.levelDb},
                              {"targetDb", point.targetDb},
                              {"weight", point.weight}});
        question["curves"].push_back({{"points", std::move(points)}});
    }
    return question;
}

std::vector<double> fitAll(const std::vector<tuning::FitCurve>& curves)
{
    std::vector<double> errorsDb;
    for (const tuning::FitCurve& curve : curves)
        errorsDb.push_back(
            valueOf(tuning::fitFilters({&curve, 1}, limitsOfAll(), numFilters)).errorAfterDb);
    return errorsDb;
}

double mostBehind(const std::vector<double>& errorsDb, const std::vector<double>& othersDb)
{
    double most = -1e9;
    for (std::size_t curve = 0; curve < errorsDb.size(); ++curve)
        most = std::max(most, errorsDb[curve] - othersDb.at(curve));
    return most;
}

} // namespace

void addFit(Contests& contests, Workshop& workshop)
{
    auto curves = std::make_shared<std::vector<tuning::FitCurve>>();
    for (std::uint64_t seed = 1; seed <= numCurves; ++seed)
        curves->push_back(test::curveOf(test::unevenLevel(seed)));
    const auto oursDb = fitAll(*curves);
    const nlohmann::json fromOneStart = asQuestion(*curves);
    nlohmann::json asGood = fromOneStart;
    asGood["errorsToReachDb"] = oursDb;

    ScipyPeer& scipy = workshop.scipy;
    const auto oneStart = scipy.ask(fromOneStart);
    const auto manyStarts = scipy.ask(asGood);
    const auto oneStartDb = oneStart.at("errorsDb").get<std::vector<double>>();
    const auto manyStartsDb = manyStarts.at("errorsDb").get<std::vector<double>>();
    contests.hold("error of the fit, ours less scipy's from one start, worst",
                  mostBehind(oursDb, oneStartDb), mostBehindDb, "dB");
    contests.hold("error of the fit, ours less scipy's from many, worst",
                  mostBehind(oursDb, manyStartsDb), mostBehindManyDb, "dB");
    std::printf("  scipy from one start is behind by up to %.3f dB, from up to %d starts by up to "
                "%.3f dB\n",
                mostBehind(oneStartDb, oursDb), manyStarts.at("mostStarts").get<int>(),
                mostBehind(manyStartsDb, oursDb));

    const std::string work = "six filters on eight responses";
    contests.add(work, "Saddletone", [curves] {
        return secondsOf([&] { ::benchmark::DoNotOptimize(fitAll(*curves)); });
    });
    contests.add(work, "SciPy, one start",
                 [&scipy, fromOneStart] { return scipy.timed(fromOneStart); });
    contests.addOnce(work, "SciPy, up to 16 starts", manyStarts.at("seconds").get<double>());
}

} // namespace saddletone::bench
