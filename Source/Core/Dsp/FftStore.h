#pragma once

#include "Core/Dsp/Fft.h"

#include <cstddef>
#include <memory>

namespace saddletone::dsp {

/** Transforms kept for their next use.

    Planning a large transform and touching its memory for the first time take longer than
    transforming. Whoever analyses one recording after the other owns a store and passes it on; what
    is measured does not depend on it. It holds on to the memory of all transforms that were ever
    lent at once, until clear(). Lending takes a lock; any thread may borrow. */
class FftStore {
public:
    /** A transform that goes back to its store, which must outlive this. */
    template <typename Transform>
    class Borrowed {
    public:
        ~Borrowed() { giveBack(); }
        Borrowed(Borrowed&& other) noexcept : shelf(other.shelf), transform(other.transform)
        {
            other.transform = nullptr;
        }
        Borrowed& operator=(Borrowed&& other) noexcept
        {
            if (this != &other) {
                giveBack();
                shelf = other.shelf;
                transform = other.transform;
                other.transform = nullptr;
            }
            return *this;
        }
        Borrowed(const Borrowed&) = delete;
        Borrowed& operator=(const Borrowed&) = delete;

        [[nodiscard]] Transform& operator*() const noexcept { return *transform; }
        [[nodiscard]] Transform* operator->() const noexcept { return transform; }

    private:
        friend class FftStore;
        Borrowed(void* newShelf, Transform* newTransform) : shelf(newShelf), transform(newTransform)
        {
        }
        void giveBack() noexcept;

        void* shelf;
        Transform* transform; ///< None once moved from.
    };

    FftStore();
    ~FftStore();
    FftStore(const FftStore&) = delete;
    FftStore& operator=(const FftStore&) = delete;

    /** Sizes and directions as of RealFft. Its time() and spectrum() hold what the last borrower
        left in them. */
    template <typename Sample>
    [[nodiscard]] Borrowed<RealFft<Sample>> real(std::size_t size,
                                                 FftDirections directions = FftDirections::both);
    /** As of ComplexInverseFft; its values() hold what the last borrower left in them. */
    [[nodiscard]] Borrowed<ComplexInverseFft> complexInverse(std::size_t size);

    /** Frees every transform that is not lent. */
    void clear();

    /** How many transforms there are, lent ones included. */
    [[nodiscard]] std::size_t numTransforms() const;

private:
    struct Shelves;
    std::unique_ptr<Shelves> shelves;
};

extern template class FftStore::Borrowed<RealFft<float>>;
extern template class FftStore::Borrowed<RealFft<double>>;
extern template class FftStore::Borrowed<ComplexInverseFft>;

extern template FftStore::Borrowed<RealFft<float>> FftStore::real<float>(std::size_t,
                                                                         FftDirections);
extern template FftStore::Borrowed<RealFft<double>> FftStore::real<double>(std::size_t,
                                                                           FftDirections);

} // namespace saddletone::dsp
