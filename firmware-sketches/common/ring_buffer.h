// A queue of fixed size between one writer and one reader, of which one may be an interrupt.
#pragma once
#include <stdint.h>

namespace throwbook {

// Stops the compiler from moving memory accesses past this point; on the 8-bit chip that is all that is needed.
inline void memory_barrier() { __asm__ __volatile__("" ::: "memory"); }

// `kSlots` must be a power of two, at most 128. Each index is one byte and has one writer, so no lock is needed.
template <class Item, uint8_t kSlots>
class RingBuffer {
  static_assert(kSlots && kSlots <= 128 && (kSlots & (kSlots - 1)) == 0, "slots: a power of two, at most 128");

 public:
  // False when full: the item isn't stored, and nothing already stored is overwritten.
  bool push(const Item& item) {
    if (size() == kSlots) return false;
    items_[written_ & (kSlots - 1)] = item;
    memory_barrier();
    written_ = written_ + 1;
    return true;
  }

  // False when empty.
  bool pop(Item& item) {
    if (size() == 0) return false;
    memory_barrier();
    item = items_[read_ & (kSlots - 1)];
    memory_barrier();
    read_ = read_ + 1;
    return true;
  }

  uint8_t size() const { return static_cast<uint8_t>(written_ - read_); }

  void clear() { read_ = written_; }

 private:
  Item items_[kSlots];
  volatile uint8_t written_ = 0;
  volatile uint8_t read_ = 0;
};

}  // namespace throwbook
