#include "Core/Audition/ProgrammeConvolver.h"

#include <algorithm>
#include <cassert>

namespace saddletone::audition {

namespace {

constexpr std::size_t grid = PartitionLayout::headTaps;
constexpr std::size_t warmUpVisits = ProgrammeConvolver::warmUpFrames / grid;
static_assert(ProgrammeConvolver::warmUpFrames % grid == 0);

/** What loops read and write beyond the last frame. */
constexpr std::size_t vectorRoom = 16;

static_assert(numEars == 2, "transforms are done in pairs");

} // namespace

void ProgrammeConvolver::prepare(const PartitionLayout& layout)
{
    plans.clear();
    for (const PartitionStage& shape : layout.stages)
        plans.emplace_back(shape);

    // The block being transformed, the one before it, which it overlaps with, and the next one.
    const std::size_t ringFrames =
        layout.stages.empty() ? grid : 4 * layout.stages.back().blockFrames;
    assert(layout.stages.size() <= maxStages);
    for (Channel& channel : channels) {
        channel.samples.assign(ringFrames, 0.0F);
        channel.stages.clear();
        for (const StagePlan& plan : plans) {
            ChannelStage stage;
            stage.spectra.resize(plan.numSpectra() * 2 * plan.shape().blockFrames);
            stage.working.resize(2 * plan.shape().blockFrames);
            channel.stages.push_back(std::move(stage));
        }
    }
    for (Voice& voice : voices) {
        voice.kernels = nullptr;
        voice.stages.assign(plans.size(), {});
        for (std::size_t stage = 0; stage < plans.size(); ++stage)
            for (auto& ears : voice.stages[stage].working)
                for (dsp::AlignedFloats& working : ears)
                    working.resize(2 * plans[stage].shape().blockFrames + vectorRoom);
    }
    reset();
}

void ProgrammeConvolver::reset() noexcept
{
    for (Channel& channel : channels) {
        std::ranges::fill(channel.samples, 0.0F);
        std::ranges::fill(channel.recent, 0.0F);
        for (ChannelStage& stage : channel.stages)
            std::ranges::fill(stage.spectra, 0.0F);
    }
    for (Voice& voice : voices) {
        voice.visitsToCatchUp = 0;
        for (VoiceStage& stage : voice.stages) {
            stage.catchUp = {};
            for (auto& ears : stage.working)
                for (dsp::AlignedFloats& working : ears)
                    std::ranges::fill(working, 0.0F);
        }
    }
    fill = 0;
    lastPushed = 0;
    numVisits = 0;
    work = 0;
}

void ProgrammeConvolver::setVoice(std::size_t voice, const Kernels* kernels) noexcept
{
    assert(numVisits == 0 || kernels == nullptr);
    voices[voice].kernels = kernels;
    voices[voice].visitsToCatchUp = 0;
}

void ProgrammeConvolver::beginVoice(std::size_t voice, const Kernels* kernels) noexcept
{
    voices[voice].kernels = kernels;
    planCatchUp(voices[voice]);
}

void ProgrammeConvolver::push(const std::array<Piece, numEars>& samples,
                              std::size_t numFrames) noexcept
{
    assert(numFrames <= framesToVisit() && lastPushed == 0);
    for (std::size_t input = 0; input < numEars; ++input) {
        Channel& channel = channels[input];
        const std::size_t place = (numVisits * grid + fill) & (channel.samples.size() - 1);
        std::copy_n(samples[input].begin(), numFrames,
                    channel.samples.begin() + static_cast<std::ptrdiff_t>(place));
        std::copy_n(samples[input].begin(), numFrames,
                    channel.recent.begin() + static_cast<std::ptrdiff_t>(grid + fill));
    }
    lastPushed = numFrames;
}

void ProgrammeConvolver::render(std::size_t voiceIndex,
                                std::array<Piece, numEars>& output) const noexcept
{
    const Voice& voice = voices[voiceIndex];
    if (voice.kernels == nullptr) {
        for (Piece& ear : output)
            ear.fill(0.0F);
        return;
    }
    const std::size_t frame = numVisits * grid + fill;
    for (std::size_t ear = 0; ear < numEars; ++ear) {
        std::array<dsp::DirectSum, numEars> directSums {};
        std::size_t numDirectSums = 0;
        for (std::size_t input = 0; input < numEars; ++input)
            if (const PartitionedKernel* kernel = (*voice.kernels)[ear][input].get())
                directSums[numDirectSums++] = {kernel->head().data(), kernel->head().size(),
                                               channels[input].recent.data() + grid + fill};
        std::array<const float*, maxStages> tails {};
        for (std::size_t stage = 0; stage < plans.size(); ++stage) {
            const std::size_t block = plans[stage].shape().blockFrames;
            const std::size_t parity = (frame & block) != 0 ? 1 : 0;
            tails[stage] =
                voice.stages[stage].working[parity][ear].data() + block + (frame & (block - 1));
        }
        loops->mix(tails.data(), plans.size(), directSums.data(), numDirectSums, output[ear].data(),
                   lastPushed);
    }
}

void ProgrammeConvolver::advance() noexcept
{
    fill += lastPushed;
    lastPushed = 0;
    if (fill < grid)
        return;
    fill = 0;
    ++numVisits;
    for (Channel& channel : channels)
        std::copy_n(channel.recent.begin() + grid, grid, channel.recent.begin());
    visit();
}

void ProgrammeConvolver::visit() noexcept
{
    for (std::size_t stage = 0; stage < plans.size(); ++stage) {
        const StagePlan& plan = plans[stage];
        const std::size_t phase = numVisits & (plan.visitsPerBlock() - 1);
        const std::size_t block = numVisits / plan.visitsPerBlock();
        // Before the first block there is nothing, and its spectrum is zero already.
        if (block > 0)
            for (std::size_t step = plan.forwardDue(phase).begin; step < plan.forwardDue(phase).end;
                 ++step)
                runForwardStep(stage, block - 1, step);
    }
    for (Voice& voice : voices) {
        if (voice.kernels == nullptr)
            continue;
        if (voice.visitsToCatchUp > 0)
            catchUp(voice);
        for (std::size_t stage = 0; stage < plans.size(); ++stage) {
            const StagePlan& plan = plans[stage];
            const std::size_t phase = numVisits & (plan.visitsPerBlock() - 1);
            const std::size_t block = numVisits / plan.visitsPerBlock() + plan.blocksBehind() - 1;
            StagePlan::Steps due = plan.inverseDue(phase);
            // What the voice catches up with is not done here.
            const CatchUp& apart = voice.stages[stage].catchUp;
            if (block < apart.firstBlock)
                continue;
            if (block < apart.firstBlock + apart.numSteps.size())
                due.begin = std::max(due.begin, apart.numSteps[block - apart.firstBlock]);
            for (std::size_t step = due.begin; step < due.end; ++step)
                runInverseStep(voice, stage, block, step);
        }
    }
}

void ProgrammeConvolver::runForwardStep(std::size_t stage, std::size_t block,
                                        std::size_t step) noexcept
{
    const StagePlan& plan = plans[stage];
    const dsp::SlicedTransform::Step& what = plan.transform().forwardSteps()[step];
    const std::size_t frames = plan.shape().blockFrames;
    const std::size_t tile =
        (what.tile * plan.numSpectra() + block % plan.numSpectra()) * dsp::tileFloats;
    const auto inputOf = [&](Channel& channel) -> dsp::SlicedTransform::Input {
        const std::size_t ring = channel.samples.size();
        const float* const samples = channel.samples.data();
        return {.real = samples + ((block * frames + ring - frames) & (ring - 1)),
                .imag = samples + (block * frames & (ring - 1)),
                .work = channel.stages[stage].working.data(),
                .tile = channel.stages[stage].spectra.data() + tile};
    };
    plan.transform().runForward(what, inputOf(channels[0]), inputOf(channels[1]));
    work += numEars * what.work;
}

void ProgrammeConvolver::runInverseStep(Voice& voice, std::size_t stage, std::size_t block,
                                        std::size_t step) noexcept
{
    const StagePlan& plan = plans[stage];
    const dsp::SlicedTransform::Step& what = plan.transform().inverseSteps()[step];
    auto& working = voice.stages[stage].working[block % 2];
    alignas(64) std::array<std::array<float, dsp::tileFloats>, numEars> sums;
    if (what.radix == 0)
        for (std::size_t ear = 0; ear < numEars; ++ear)
            addUp((*voice.kernels)[ear], stage, what.tile, block, sums[ear].data());
    plan.transform().runInverse(what, {sums[0].data(), working[0].data()},
                                {sums[1].data(), working[1].data()});
    work += numEars * what.work;
}

void ProgrammeConvolver::addUp(const EarKernels& kernels, std::size_t stage, std::size_t tile,
                               std::size_t block, float* sum) noexcept
{
    const std::size_t numSpectra = plans[stage].numSpectra();
    // Blocks before the beginning count as well: their spectra are zero.
    const std::size_t newest = (block + 2 * numSpectra - plans[stage].blocksBehind()) % numSpectra;
    std::array<dsp::TileRun, 2 * numEars> runs {};
    std::size_t numRuns = 0;
    for (std::size_t input = 0; input < numEars; ++input) {
        const PartitionedKernel* const kernel = kernels[input].get();
        if (kernel == nullptr || kernel->numPartitions(stage) == 0)
            continue;
        const std::size_t numPartitions = kernel->numPartitions(stage);
        const float* const spectra =
            channels[input].stages[stage].spectra.data() + tile * numSpectra * dsp::tileFloats;
        const float* const factors = kernel->tiles(stage, tile).data();
        // From the newest spectrum down to the ring's beginning, then from its end.
        const std::size_t beforeWrap = std::min(numPartitions, newest + 1);
        runs[numRuns++] = {spectra + newest * dsp::tileFloats, factors, beforeWrap};
        if (beforeWrap < numPartitions)
            runs[numRuns++] = {spectra + (numSpectra - 1) * dsp::tileFloats,
                               factors + beforeWrap * dsp::tileFloats, numPartitions - beforeWrap};
        work += numPartitions * dsp::SlicedTransform::workPerProduct;
    }
    loops->sumProducts(runs.data(), numRuns, sum);
}

void ProgrammeConvolver::planCatchUp(Voice& voice) noexcept
{
    voice.visitsToCatchUp = warmUpVisits;
    const std::size_t lastVisit = numVisits + warmUpVisits;
    for (std::size_t stage = 0; stage < plans.size(); ++stage) {
        const StagePlan& plan = plans[stage];
        const std::size_t perBlock = plan.visitsPerBlock();
        CatchUp& apart = voice.stages[stage].catchUp;
        // The block of output that is playing when the warm-up ends, and the one after it. Of jobs
        // that have begun already, all that the plan would have done until then is done apart; jobs
        // still to begin are done by the plan.
        apart = {.firstBlock = lastVisit / perBlock};
        for (std::size_t index = 0; index < apart.numSteps.size(); ++index) {
            // Counted a block later, so that a job may begin before the stream does.
            const std::size_t jobBegin =
                (apart.firstBlock + index + 2 - plan.blocksBehind()) * perBlock;
            const bool hasBegun = jobBegin + plan.firstInversePhase() <= numVisits + perBlock;
            const std::size_t until = lastVisit + perBlock;
            apart.numSteps[index] =
                hasBegun && until >= jobBegin ? plan.inverseStepsBy(until - jobBegin) : 0;
        }
    }
}

void ProgrammeConvolver::catchUp(Voice& voice) noexcept
{
    const std::size_t visitsDone = warmUpVisits - --voice.visitsToCatchUp;
    for (std::size_t stage = 0; stage < plans.size(); ++stage) {
        CatchUp& apart = voice.stages[stage].catchUp;
        const std::size_t total = apart.numSteps[0] + apart.numSteps[1];
        const std::size_t due = (total * visitsDone + warmUpVisits - 1) / warmUpVisits;
        for (; apart.numDone < due; ++apart.numDone) {
            const bool isFirst = apart.numDone < apart.numSteps[0];
            runInverseStep(voice, stage, apart.firstBlock + (isFirst ? 0 : 1),
                           isFirst ? apart.numDone : apart.numDone - apart.numSteps[0]);
        }
    }
}

} // namespace saddletone::audition
