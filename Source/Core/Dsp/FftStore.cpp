#include "Core/Dsp/FftStore.h"

#include <algorithm>
#include <cassert>
#include <list>
#include <mutex>
#include <type_traits>
#include <utility>

namespace saddletone::dsp {

namespace {

/** All transforms of one kind. */
template <typename Transform>
class Shelf {
public:
    /** make: makes the first of its size and directions; the others share its plans. */
    template <typename Make>
    Transform* lend(std::size_t size, FftDirections directions, Make make)
    {
        const std::lock_guard guard(lock);
        const Item* alike = nullptr;
        for (Item& item : items) {
            if (item.size != size || item.directions != directions)
                continue;
            if (!item.isLent) {
                item.isLent = true;
                return &item.transform;
            }
            alike = &item;
        }
        Transform transform = alike != nullptr ? alike->transform.twin() : make();
        items.push_back({size, directions, std::move(transform)});
        return &items.back().transform;
    }

    void takeBack(const Transform* transform)
    {
        const std::lock_guard guard(lock);
        const auto item = std::ranges::find_if(
            items, [&](const Item& each) { return &each.transform == transform; });
        assert(item != items.end() && item->isLent);
        item->isLent = false;
    }

    void clear()
    {
        const std::lock_guard guard(lock);
        std::erase_if(items, [](const Item& item) { return !item.isLent; });
    }

    [[nodiscard]] std::size_t count() const
    {
        const std::lock_guard guard(lock);
        return items.size();
    }

private:
    struct Item {
        std::size_t size = 0;
        FftDirections directions = FftDirections::both;
        Transform transform;
        bool isLent = true;
    };

    mutable std::mutex lock;
    std::list<Item> items; // addresses stay
};

} // namespace

struct FftStore::Shelves {
    template <typename Transform>
    [[nodiscard]] Shelf<Transform>& of()
    {
        if constexpr (std::is_same_v<Transform, RealFft<float>>)
            return floats;
        else if constexpr (std::is_same_v<Transform, RealFft<double>>)
            return doubles;
        else
            return inverses;
    }

    Shelf<RealFft<float>> floats;
    Shelf<RealFft<double>> doubles;
    Shelf<ComplexInverseFft> inverses;
};

template <typename Transform>
void FftStore::Borrowed<Transform>::giveBack() noexcept
{
    if (transform != nullptr)
        static_cast<Shelf<Transform>*>(shelf)->takeBack(transform);
}

FftStore::FftStore() : shelves(std::make_unique<Shelves>()) {}

FftStore::~FftStore() = default;

template <typename Sample>
FftStore::Borrowed<RealFft<Sample>> FftStore::real(std::size_t size, FftDirections directions)
{
    auto& shelf = shelves->of<RealFft<Sample>>();
    return {&shelf,
            shelf.lend(size, directions, [&] { return RealFft<Sample>(size, directions); })};
}

FftStore::Borrowed<ComplexInverseFft> FftStore::complexInverse(std::size_t size)
{
    auto& shelf = shelves->of<ComplexInverseFft>();
    return {&shelf, shelf.lend(size, FftDirections::both, [&] { return ComplexInverseFft(size); })};
}

void FftStore::clear()
{
    shelves->floats.clear();
    shelves->doubles.clear();
    shelves->inverses.clear();
}

std::size_t FftStore::numTransforms() const
{
    return shelves->floats.count() + shelves->doubles.count() + shelves->inverses.count();
}

template class FftStore::Borrowed<RealFft<float>>;
template class FftStore::Borrowed<RealFft<double>>;
template class FftStore::Borrowed<ComplexInverseFft>;

template FftStore::Borrowed<RealFft<float>> FftStore::real<float>(std::size_t, FftDirections);
template FftStore::Borrowed<RealFft<double>> FftStore::real<double>(std::size_t, FftDirections);

} // namespace saddletone::dsp
