// Arithmetic of a ratiometric analog Hall current sensor on a 10-bit converter whose reference is the same supply.
//
// The sensor gives half its supply at 0 A, and its volts per ampere scale with the supply. The converter divides by
// that supply too, so the supply cancels: 4.8 V instead of 5.0 V changes neither the zero nor the ampere per count.
#pragma once
#include <stdint.h>

namespace throwbook {

const int16_t kConverterSteps = 1024;
const int16_t kHallZero = kConverterSteps / 2;
const uint16_t kHallNominalMillivolt = 5000;  // the supply at which data sheets give the sensitivity

// No working sensor gives less than about 0.1 V. Then only the pull-down is on the input: the sensor is off or unplugged.
const int16_t kHallAbsentCounts = 20;

constexpr int16_t hall_counts(int16_t converted) { return converted - kHallZero; }

// Current of one count [uA], for a sensitivity in mV/A at 5 V.
constexpr uint32_t hall_amp_lsb_ua(uint16_t mv_per_a) {
  return static_cast<uint32_t>((static_cast<uint64_t>(kHallNominalMillivolt) * 1000000UL / kConverterSteps + mv_per_a / 2) /
                               mv_per_a);
}

// The nearest count, either way, to the end of the sensor's rated range.
constexpr int16_t hall_full_scale_counts(uint32_t full_scale_ma, uint16_t mv_per_a) {
  return static_cast<int16_t>((full_scale_ma * 1000UL + hall_amp_lsb_ua(mv_per_a) / 2) / hall_amp_lsb_ua(mv_per_a));
}

// Voltage of one count [uV] behind a divider. This channel is not ratiometric: it is as good as `supply_mv` is known.
constexpr uint32_t divider_lsb_uv(uint16_t supply_mv, uint32_t top_ohm, uint32_t bottom_ohm) {
  return static_cast<uint32_t>(static_cast<uint64_t>(supply_mv) * 1000UL * (top_ohm + bottom_ohm) / bottom_ohm /
                               static_cast<uint32_t>(kConverterSteps));
}

}  // namespace throwbook
