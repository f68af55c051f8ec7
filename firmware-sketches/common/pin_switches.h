// The two pin switches: which are fitted, and what they read once a contact has been quiet for a while.
// A switch connects its input to ground when it closes; the chip's own pull-up holds an open one high. So a broken wire
// reads open, which is the reading that warns.
#pragma once
#include <stdint.h>

namespace throwbook {

// Bits of channel S.
const uint8_t kLeftClosed = 1;
const uint8_t kRightClosed = 2;
const uint8_t kLeftFitted = 4;
const uint8_t kRightFitted = 8;

const uint16_t kQuietOfASecond = 50;  // 20 ms: a contact bounces for some milliseconds, and a pin moves for seconds
const uint16_t kCalmOfASecond = 8;    // 125 ms: what a contact was open for before that no longer counts

struct SwitchWiring {
  bool left_fitted;
  uint8_t left_pin;  // digital pins 2 to 7, all on one port
  bool right_fitted;
  uint8_t right_pin;
};

constexpr uint8_t fitted_bits(const SwitchWiring& wiring) {
  return static_cast<uint8_t>((wiring.left_fitted ? kLeftFitted : 0) | (wiring.right_fitted ? kRightFitted : 0));
}

// The inputs whose pull-ups must be on.
constexpr uint8_t pull_ups(const SwitchWiring& wiring) {
  return static_cast<uint8_t>((wiring.left_fitted ? 1 << wiring.left_pin : 0) |
                              (wiring.right_fitted ? 1 << wiring.right_pin : 0));
}

// Closed switches from the levels of digital pins 0 to 7. One that isn't fitted is never closed.
constexpr uint8_t closed_bits(const SwitchWiring& wiring, uint8_t levels) {
  return static_cast<uint8_t>((wiring.left_fitted && !(levels >> wiring.left_pin & 1) ? kLeftClosed : 0) |
                              (wiring.right_fitted && !(levels >> wiring.right_pin & 1) ? kRightClosed : 0));
}

class Debounced {
 public:
  // The first reading counts at once.
  void begin(uint8_t closed, uint16_t rate_hz) {
    settled_ = closed;
    quiet_ticks_ = static_cast<uint8_t>(rate_hz / kQuietOfASecond);
    calm_ticks_ = static_cast<uint8_t>(rate_hz / kCalmOfASecond);
    other_[0] = other_[1] = 0;
    same_[0] = same_[1] = 0;
  }

  // The closed switches, once a tick. Closing counts once it has lasted without a break. What a closed one is open for
  // counts together until it is calm: else one that chatters would read closed for ever.
  uint8_t take(uint8_t closed) {
    const uint8_t changed = closed ^ settled_;
    for (uint8_t i = 0; i < 2; ++i) {
      const uint8_t bit = static_cast<uint8_t>(1 << i);
      if (changed & bit) {
        same_[i] = 0;
        if (++other_[i] > quiet_ticks_) {
          other_[i] = 0;
          settled_ ^= bit;
        }
      } else if (++same_[i] > (settled_ & bit ? calm_ticks_ : 0)) {
        same_[i] = 0;
        other_[i] = 0;
      }
    }
    return settled_;
  }

 private:
  uint8_t settled_ = 0;
  uint8_t quiet_ticks_ = 0;
  uint8_t calm_ticks_ = 0;
  uint8_t other_[2] = {0, 0};  // ticks for which each switch has read the other way
  uint8_t same_[2] = {0, 0};  // ticks since then
};

}  // namespace throwbook
