// Which sampling rates a board can carry: what it can't is refused, not tried.
#pragma once
#include <stdint.h>

namespace throwbook {

struct RateLimit {
  uint32_t most_hz;
  const char* because;  // what comes after the number in "at most 311/s through ..."
};

// Characters of the longest count from -largest to largest.
constexpr uint8_t written_length(uint32_t largest, bool is_signed) {
  return largest >= 10 ? static_cast<uint8_t>(1 + written_length(largest / 10, is_signed))
                       : static_cast<uint8_t>(is_signed ? 2 : 1);
}

// Bytes of the longest sample line, line feed and check included: D,65535,4294967295,CURRENT,VOLTAGE,15,-3660*CCCC
constexpr uint8_t longest_sample_line(uint16_t largest_current, bool has_voltage, uint16_t largest_voltage,
                                      bool has_switches = false, bool has_temperature = false) {
  return static_cast<uint8_t>(1 + 6 + 11 + 1 + written_length(largest_current, true) +
                              (has_voltage ? 1 + written_length(largest_voltage, false) : 0) + (has_switches ? 3 : 0) +
                              (has_temperature ? 6 : 0) + 5 + 1);
}

// One byte is 10 bits on the wire (8N1).
constexpr uint32_t most_lines_a_second(uint32_t baud, uint8_t line_bytes) { return baud / 10 / line_bytes; }

// The limit that `rate_hz` breaks, the lowest first; none: `because` is null.
inline RateLimit broken_limit(uint32_t rate_hz, const RateLimit* limits, uint8_t count) {
  RateLimit lowest = {0, nullptr};
  for (uint8_t i = 0; i < count; ++i) {
    if (rate_hz > limits[i].most_hz && (!lowest.because || limits[i].most_hz < lowest.most_hz)) lowest = limits[i];
  }
  return lowest;
}

}  // namespace throwbook
