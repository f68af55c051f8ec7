// The shunt monitor on the I2C bus. The timer marks a sample as due; the loop reads it, as the bus needs interrupts.
#pragma once
#include <Arduino.h>
#include <Wire.h>
#include <conversation.h>
#include <ina_registers.h>
#include <sampled_sensor.h>

#include "settings.h"

namespace throwbook {

constexpr NtcTable kNtcTable PROGMEM = ntc_table({kThermistorOhmAt25, kThermistorBeta, kThermistorSeriesOhm});

const bool kThermistorFitted = kTemperatureFitted && !kTemperatureIsOneWire;
const bool kOneWireFitted = kTemperatureFitted && kTemperatureIsOneWire;

struct Beside {
  static constexpr SwitchWiring wiring() {
    return {kLeftSwitchFitted, kLeftSwitchPin, kRightSwitchFitted, kRightSwitchPin};
  }
  static constexpr bool has_thermistor() { return kThermistorFitted; }
  static constexpr bool has_one_wire() { return kOneWireFitted; }
  static constexpr uint8_t one_wire_pin() { return kOneWirePin; }
  static const NtcTable& table() { return kNtcTable; }
};

constexpr uint8_t longest_line_of(InaKind kind) {
  return longest_sample_line(static_cast<uint16_t>(ina_full_scale_counts(kind, kIna219RangeMillivolt)), true,
                             static_cast<uint16_t>(ina_scale(kind).largest_bus), fitted_bits(Beside::wiring()) != 0,
                             kTemperatureFitted);
}

constexpr SensorScale scale_of(InaKind kind) {
  return SensorScale{ina_amp_lsb_ua(kind, kShuntMicroOhm),
                     ina_scale(kind).bus_lsb_uv,
                     ina_full_scale_ma(kind, kIna219RangeMillivolt, kShuntMicroOhm),
                     ina_full_scale_counts(kind, kIna219RangeMillivolt),
                     true,
                     longest_line_of(kind),
                     ina_most_hz(kind)};
}

// Calculated by the compiler: the chip would take long over these divisions.
constexpr SensorScale kScaleOfIna219 = scale_of(InaKind::ina219);
constexpr SensorScale kScaleOfIna226 = scale_of(InaKind::ina226);
// While no sensor answers: nothing is known of its counts, and the lower of the two rates counts.
constexpr SensorScale kScaleOfNone = {0, 0, 0, 0, true, longest_line_of(InaKind::ina226), ina_most_hz(InaKind::ina219)};

const uint32_t kChipCurrentLsbMicroamp = 1000;
constexpr uint16_t kCalibrationOfIna219 = ina_calibration(InaKind::ina219, kChipCurrentLsbMicroamp, kShuntMicroOhm);
constexpr uint16_t kCalibrationOfIna226 = ina_calibration(InaKind::ina226, kChipCurrentLsbMicroamp, kShuntMicroOhm);

class I2cShunt : public SampledSensor<Beside, I2cShunt> {
 public:
  I2cShunt() : SampledSensor<Beside, I2cShunt>(kStartRateHz) {}

  void begin() {
    begin_switches();
    if (kThermistorFitted) {
      ADMUX = _BV(REFS0) | kTemperatureChannel;
      ADCSRA = kConvert128;
    }
    Wire.begin();
    Wire.setClock(400000);
    Wire.setWireTimeout(3000, true);  // [us] a bus held down must not stop the board
  }

  // --- the timer interrupt ---

  void tick() { sampler_.tick(); }

  // --- the loop ---

  // Takes a conversion of the thermistor that is done, and starts the next one: 104 us each, nobody waits.
  void read_temperature() {
    if (!kThermistorFitted || (ADCSRA & _BV(ADSC))) return;
    thermistor_.take(static_cast<int16_t>(ADC));
    ADCSRA = kConvert128 | _BV(ADSC);
  }

  // Reads the sensor if a sample is due. A read that fails leaves a gap in SEQ.
  void read_if_due() {
    if (!sampler_.due()) return;
    Sample sample;
    noInterrupts();
    sample.seq = sampler_.take();
    interrupts();
    uint16_t shunt = 0;
    uint16_t bus = 0;
    const bool ready = settings_hold();
    sample.micros = micros();
    sample.closed = closed_now();
    answering_ = ready && read_register(kInaShunt, shunt) && read_register(kInaBus, bus);
    if (!answering_) return;
    sample.current = static_cast<int16_t>(shunt);
    sample.voltage = ina_bus_counts(kind_, bus);
    sampler_.deliver(sample);
  }

  bool sample_at_hand() const { return sampler_.due(); }

  // --- what the conversation asks for ---

  // INA226: it has a manufacturer's code. INA219: it has none, so its configuration must be as after power-up or as we set it.
  bool probe() {
    uint16_t value = 0;
    kind_ = InaKind::none;
    if (read_register(kInaManufacturer, value) && value == kInaManufacturerCode) {
      kind_ = InaKind::ina226;
    } else if (read_register(kInaConfig, value) && (value == kIna219PowerUpConfig || value == config(InaKind::ina219))) {
      kind_ = InaKind::ina219;
    }
    answering_ = kind_ != InaKind::none && write_settings();
    return answering_;
  }

  bool answering() const { return answering_; }

  bool was_reset() {
    const bool was = was_reset_;
    was_reset_ = false;
    return was;
  }

  const char* absent_text() const { return "no INA219 or INA226 answers"; }

  const SensorScale& scale() const {
    if (kind_ == InaKind::ina219) return kScaleOfIna219;
    return kind_ == InaKind::ina226 ? kScaleOfIna226 : kScaleOfNone;
  }

  void set_rate(uint16_t hz) {
    SampledSensor<Beside, I2cShunt>::set_rate(hz);
    if (kind_ != InaKind::none) write_settings();
  }

 private:
  static const uint8_t kConvert128 = _BV(ADEN) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);  // 125 kHz: full accuracy

  uint16_t config(InaKind kind) const { return ina_config(kind, rate_hz_, kIna219RangeMillivolt); }

  uint16_t calibration() const { return kind_ == InaKind::ina226 ? kCalibrationOfIna226 : kCalibrationOfIna219; }

  bool write_settings() {
    return write_register(kInaConfig, config(kind_)) && write_register(kInaCalibration, calibration());
  }

  // The calibration value reads back as zero after the sensor lost its supply. Asked once a second, and after a silence.
  bool settings_hold() {
    if (answering_ && ++reads_since_check_ < rate_hz_) return true;
    reads_since_check_ = 0;
    uint16_t value = 0;
    if (!read_register(kInaCalibration, value)) return false;
    if (value == calibration()) return true;
    was_reset_ = true;
    return write_settings();
  }

  static bool read_register(uint8_t which, uint16_t& value) {
    Wire.beginTransmission(kInaAddress);
    Wire.write(which);
    if (Wire.endTransmission(false) != 0) return false;
    if (Wire.requestFrom(kInaAddress, static_cast<uint8_t>(2)) != 2) return false;
    const uint8_t high = static_cast<uint8_t>(Wire.read());
    value = static_cast<uint16_t>(high << 8 | static_cast<uint8_t>(Wire.read()));
    return true;
  }

  static bool write_register(uint8_t which, uint16_t value) {
    Wire.beginTransmission(kInaAddress);
    Wire.write(which);
    Wire.write(static_cast<uint8_t>(value >> 8));
    Wire.write(static_cast<uint8_t>(value & 0xFF));
    return Wire.endTransmission() == 0;
  }

  uint16_t reads_since_check_ = 0;
  InaKind kind_ = InaKind::none;
  bool answering_ = false;
  bool was_reset_ = false;
};

}  // namespace throwbook
