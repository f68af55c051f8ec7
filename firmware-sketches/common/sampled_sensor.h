// What every sensor does alike: the clock that makes samples due, the buffer they wait in, and how many were lost; the pin
// switches and the temperature probe beside it.
// A sensor's own class builds on it and adds how its chip is read; see README.md, "Another sensor".
#pragma once
#include <Arduino.h>

#include "ntc.h"
#include "one_wire.h"
#include "one_wire_line.h"
#include "pin_switches.h"
#include "sample_clock.h"
#include "sampler.h"

namespace throwbook {

// The one-wire probe. Where none is fitted: no code, and not a byte of RAM.
template <bool kFitted, uint8_t kPin>
class ProbeOnWire {
 protected:
  void talk(uint32_t) {}
  int16_t centidegrees() const { return kNotAnswering; }
};

template <uint8_t kPin>
class ProbeOnWire<true, kPin> {
 protected:
  void talk(uint32_t free_us) { probe_.step(micros(), free_us); }
  int16_t centidegrees() const { return probe_.centidegrees(); }

 private:
  OneWireProbe<OneWireLine<kPin>> probe_;
};

// Beside: static constexpr SwitchWiring wiring();  bool has_thermistor();  const NtcTable& table();
//         static constexpr bool has_one_wire();  uint8_t one_wire_pin();
// Sensor, which builds on it: bool sample_at_hand();   one is due, or being read
template <class Beside, class Sensor>
class SampledSensor : ProbeOnWire<Beside::has_one_wire(), Beside::one_wire_pin()> {
  typedef ProbeOnWire<Beside::has_one_wire(), Beside::one_wire_pin()> OnWire;
  static_assert(!Beside::has_one_wire() || !(pull_ups(Beside::wiring()) >> Beside::one_wire_pin() & 1),
                "the one-wire probe and a pin switch are on the same pin");

 public:
  explicit SampledSensor(uint16_t rate_hz) : rate_hz_(rate_hz) {}

  // Bits of an input's port switch its pull-up on. The pins stay inputs: no direction is ever set.
  void begin_switches() { PORTD |= pull_ups(Beside::wiring()); }

  uint8_t switches_fitted() const { return fitted_bits(Beside::wiring()); }

  bool has_temperature() const { return Beside::has_thermistor() || Beside::has_one_wire(); }

  // The loop, last in its round: a one-wire probe is talked to in single time slots that end before the next sample is due.
  // The time is looked at first: after it a tick either shows as a sample at hand, or the time is too short for a slot.
  void talk_to_probe() {
    if (!Beside::has_one_wire()) return;
    const uint32_t free_us = sample_clock_left_us();
    if (!static_cast<const Sensor*>(this)->sample_at_hand()) OnWire::talk(free_us);
  }

  int16_t temperature() const {
    if (Beside::has_one_wire()) return OnWire::centidegrees();
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
