// The Hall sensor on the analog inputs: the timer starts a conversion, the converter's interrupt stores the sample.
#pragma once
#include <Arduino.h>
#include <conversation.h>
#include <hall.h>
#include <sampled_sensor.h>

#include "settings.h"

namespace throwbook {

const uint32_t kMostConversionsHz = 2900;  // three of 104 us each, and 30 us to spare

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

constexpr SensorScale kHallScale = {
    hall_amp_lsb_ua(kMillivoltPerAmp),
    kHasVoltage ? divider_lsb_uv(kSupplyMillivolt, kDividerTopOhm, kDividerBottomOhm) : 0,
    kFullScaleMilliamp,
    hall_full_scale_counts(kFullScaleMilliamp, kMillivoltPerAmp),
    kHasVoltage,
    longest_sample_line(kHallZero, kHasVoltage, kConverterSteps - 1, fitted_bits(Beside::wiring()) != 0, kTemperatureFitted),
    kMostConversionsHz};

class AnalogHall : public SampledSensor<Beside, AnalogHall> {
 public:
  AnalogHall() : SampledSensor<Beside, AnalogHall>(kStartRateHz) {}

  void begin() {
    begin_switches();
    ADMUX = kReferenceIsSupply | kCurrentChannel;
    ADCSRB = 0;
    ADCSRA = kConvert128;  // 16 MHz / 128 = 125 kHz: 104 us a conversion, full accuracy (50 to 200 kHz)
  }

  // --- interrupts ---

  void tick() {
    sampler_.tick();
    if (stage_ != Stage::idle) return;  // can't be at the rates allowed; if it were, the tick is counted as missed
    in_hand_.seq = sampler_.take();
    in_hand_.micros = micros();
    in_hand_.closed = closed_now();
    stage_ = Stage::current;
    convert(kCurrentChannel);
  }

  void converted(int16_t value) {
    if (stage_ == Stage::current) {
      answering_ = value > kHallAbsentCounts;
      in_hand_.current = hall_counts(value);
      if (kHasVoltage && answering_) {
        stage_ = Stage::voltage;
        return convert(kVoltageChannel);
      }
    } else if (stage_ == Stage::voltage) {
      in_hand_.voltage = value;
    } else {
      thermistor_.take(value);
    }
    if (kThermistorFitted && answering_ && stage_ != Stage::temperature) {
      stage_ = Stage::temperature;
      return convert(kTemperatureChannel);
    }
    stage_ = Stage::idle;
    if (answering_) sampler_.deliver(in_hand_);  // else its number stays a gap
  }

  bool sample_at_hand() const { return stage_ != Stage::idle; }

  // --- what the conversation asks for ---

  bool probe() {
    ADMUX = kReferenceIsSupply | kCurrentChannel;
    ADCSRA = static_cast<uint8_t>((kConvert128 | _BV(ADSC)) & ~_BV(ADIE));
    while (ADCSRA & _BV(ADSC)) {
    }
    answering_ = static_cast<int16_t>(ADC) > kHallAbsentCounts;
    return answering_;
  }

  bool answering() const { return answering_; }
  bool was_reset() const { return false; }
  const char* absent_text() const { return "the current input is near 0 V"; }

  const SensorScale& scale() const { return kHallScale; }

 private:
  enum class Stage : uint8_t { idle, current, voltage, temperature };

  static const uint8_t kReferenceIsSupply = _BV(REFS0);
  static const uint8_t kConvert128 = _BV(ADEN) | _BV(ADIE) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);

  void convert(uint8_t channel) {
    ADMUX = kReferenceIsSupply | channel;
    ADCSRA = kConvert128 | _BV(ADSC);
  }

  Sample in_hand_;
  volatile Stage stage_ = Stage::idle;
  volatile bool answering_ = false;
};

}  // namespace throwbook
