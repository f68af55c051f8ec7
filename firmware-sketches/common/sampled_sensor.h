// What every sensor does alike: the clock that makes samples due, the buffer they wait in, and how many were lost.
// A sensor's own class builds on it and adds how its chip is read; see README.md, "Another sensor".
#pragma once
#include <Arduino.h>

#include "sample_clock.h"
#include "sampler.h"

namespace throwbook {

class SampledSensor {
 public:
  explicit SampledSensor(uint16_t rate_hz) : rate_hz_(rate_hz) {}

  void set_rate(uint16_t hz) {
    rate_hz_ = hz;
    if (running_) sample_clock_start(hz);
  }

  void start() {
    sampler_.reset();
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
  Sampler sampler_;
  uint16_t rate_hz_;
  bool running_ = false;
};

}  // namespace throwbook
