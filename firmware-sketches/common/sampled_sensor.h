// What every sensor does alike: the clock that makes samples due, the buffer they wait in, and how many were lost; the pin
// switches and the thermistor beside it.
// A sensor's own class builds on it and adds how its chip is read; see README.md, "Another sensor".
#pragma once
#include <Arduino.h>

#include "ntc.h"
#include "pin_switches.h"
#include "sample_clock.h"
#include "sampler.h"

namespace throwbook {

// Beside: static constexpr SwitchWiring wiring();  bool has_thermistor();  const NtcTable& table();
template <class Beside>
class SampledSensor {
 public:
  explicit SampledSensor(uint16_t rate_hz) : rate_hz_(rate_hz) {}

  // Bits of an input's port switch its pull-up on. The pins stay inputs: no direction is ever set.
  void begin_switches() { PORTD |= pull_ups(Beside::wiring()); }

  uint8_t switches_fitted() const { return fitted_bits(Beside::wiring()); }

  bool has_temperature() const { return Beside::has_thermistor(); }

  int16_t temperature() const {
    noInterrupts();
    const uint16_t sixteenths = thermistor_.sixteenths();
    interrupts();
    return ntc_centidegrees(Beside::table(), sixteenths);
  }

  void set_rate(uint16_t hz) {
    rate_hz_ = hz;
    if (running_) sample_clock_start(hz);
  }

  void start() {
    sampler_.reset();
    if (switches_fitted()) debounced_.begin(closed_bits(Beside::wiring(), PIND), rate_hz_);
    running_ = true;
    sample_clock_start(rate_hz_);
  }

  void stop() {
    running_ = false;
    sample_clock_stop();
  }

  bool next(Sample& sample) { return sampler_.next(sample); }
  uint8_t waiting() const { return sampler_.waiting(); }

  uint32_t lost() {
    noInterrupts();
    const uint32_t lost = sampler_.lost();
    interrupts();
    return lost;
  }

 protected:
  // Once a tick.
  uint8_t closed_now() {
    return switches_fitted() ? debounced_.take(closed_bits(Beside::wiring(), PIND)) : 0;
  }

  Sampler sampler_;
  uint16_t rate_hz_;
  bool running_ = false;
  NtcInput thermistor_;

 private:
  Debounced debounced_;
};

}  // namespace throwbook
