// Register arithmetic of the INA219 and INA226 kinds of I2C shunt monitor.
// Sources: Texas Instruments data sheets SBOS448 (INA219) and SBOS547 (INA226).
//
// The samples come from the shunt voltage register, whose count is fixed by the chip (10 uV or 2.5 uV). The chip's own
// current register is that count times the calibration value; it reads zero after the chip lost its supply for a
// moment, which would look like a motor that was cut off. So the calibration value serves as the witness: it reads
// back as zero exactly when the settings were lost.
#pragma once
#include <stdint.h>

namespace throwbook {

enum class InaKind : uint8_t { none, ina219, ina226 };

const uint8_t kInaConfig = 0x00;
const uint8_t kInaShunt = 0x01;
const uint8_t kInaBus = 0x02;
const uint8_t kInaCalibration = 0x05;
const uint8_t kInaManufacturer = 0xFE;           // INA226 only
const uint16_t kInaManufacturerCode = 0x5449;    // "TI"
const uint16_t kIna219PowerUpConfig = 0x399F;

// --- values, the same for the whole range of the chip ---

struct InaScale {
  uint16_t shunt_lsb_nv;     // [nV]
  uint16_t bus_lsb_uv;       // [uV]
  uint8_t bus_shift;         // status bits below the bus value
  int16_t largest_bus;       // [counts]
  uint32_t calibration_e8;   // 0.04096 or 0.00512 V, times 10^8
  uint16_t current_divisor;  // current = shunt * calibration / this
};

constexpr InaScale ina_scale(InaKind kind) {
  return kind == InaKind::ina219 ? InaScale{10000, 4000, 3, 8000, 4096000UL, 4096}
                                 : InaScale{2500, 1250, 0, 32767, 512000UL, 2048};
}

constexpr int16_t ina_bus_counts(InaKind kind, uint16_t bus_register) {
  return static_cast<int16_t>(bus_register >> ina_scale(kind).bus_shift);
}

// Current of one count of the shunt register [uA].
constexpr uint32_t ina_amp_lsb_ua(InaKind kind, uint32_t shunt_uohm) {
  return (ina_scale(kind).shunt_lsb_nv * 1000UL + shunt_uohm / 2) / shunt_uohm;
}

// Largest count, either way, of the shunt register: the INA219 stops at its chosen range, the INA226 at 16 bits.
constexpr int16_t ina_full_scale_counts(InaKind kind, uint16_t ina219_range_mv) {
  return kind == InaKind::ina219 ? static_cast<int16_t>(ina219_range_mv * 100) : static_cast<int16_t>(32767);
}

constexpr uint32_t ina_full_scale_ma(InaKind kind, uint16_t ina219_range_mv, uint32_t shunt_uohm) {
  return static_cast<uint32_t>(static_cast<uint64_t>(ina_full_scale_counts(kind, ina219_range_mv)) *
                               ina_scale(kind).shunt_lsb_nv / shunt_uohm);
}

// --- the chip's own current register ---

// Calibration value for a current count of `current_lsb_ua` and a shunt of `shunt_uohm`, cut off as the sheets do.
constexpr uint16_t ina_calibration(InaKind kind, uint32_t current_lsb_ua, uint32_t shunt_uohm) {
  return static_cast<uint16_t>(static_cast<uint64_t>(ina_scale(kind).calibration_e8) * 10000UL /
                               (static_cast<uint64_t>(current_lsb_ua) * shunt_uohm));
}

// --- settings ---

// Total time of one shunt and one bus conversion [us] by setting, and the setting's bits in its field.
struct InaPace {
  uint32_t both_us;
  uint8_t bits;
};

// 12 bits, 1 to 128 conversions averaged.
const InaPace kIna219Paces[] = {{1064, 0x3}, {2120, 0x9},  {4260, 0xA},  {8520, 0xB},
                                {17020, 0xC}, {34040, 0xD}, {68100, 0xE}, {136200, 0xF}};
// One conversion, 140 us to 8.244 ms long.
const InaPace kIna226Paces[] = {{280, 0}, {408, 1}, {664, 2}, {1176, 3}, {2200, 4}, {4232, 5}, {8312, 6}, {16488, 7}};
const uint8_t kInaPaces = 8;

constexpr uint32_t with_margin(uint32_t typical_us) { return typical_us + typical_us / 10; }

// The longest setting that still gives a fresh value for every sample, as the chip's clock may be 10 % slow: the more
// of the period is averaged, the less of the motor's ripple is taken for load.
inline uint8_t ina_pace_bits(InaKind kind, uint32_t rate_hz) {
  const InaPace* paces = kind == InaKind::ina219 ? kIna219Paces : kIna226Paces;
  const uint32_t period_us = 1000000UL / rate_hz;
  uint8_t chosen = 0;
  for (uint8_t i = 0; i < kInaPaces; ++i) {
    if (with_margin(paces[i].both_us) <= period_us) chosen = i;
  }
  return paces[chosen].bits;
}

// The fastest rate at which every sample is a fresh value [Hz].
constexpr uint32_t ina_most_hz(InaKind kind) {
  return 1000000UL / with_margin(kind == InaKind::ina219 ? 1064 : 280);
}

// Configuration register: continuous shunt and bus conversion.
inline uint16_t ina_config(InaKind kind, uint32_t rate_hz, uint16_t ina219_range_mv) {
  const uint16_t pace = ina_pace_bits(kind, rate_hz);
  if (kind == InaKind::ina226) return static_cast<uint16_t>(0x4000 | pace << 6 | pace << 3 | 7);
  uint16_t range_bits = 0;  // 40 mV; 80, 160, 320 mV are 1, 2, 3
  for (uint16_t mv = 40; mv < ina219_range_mv && range_bits < 3; mv *= 2) ++range_bits;
  return static_cast<uint16_t>(0x2000 | range_bits << 11 | pace << 7 | pace << 3 | 7);
}

}  // namespace throwbook
