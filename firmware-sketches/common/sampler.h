// From timer tick to stored sample: numbers every tick, and keeps exact count of those that came to nothing.
#pragma once
#include <stdint.h>

#include "ring_buffer.h"

namespace throwbook {

struct Sample {
  uint16_t seq;     // number of the tick; wraps
  uint32_t micros;  // when the sensor was read [us]; wraps
  int16_t current;  // [counts]
  int16_t voltage;  // [counts]
  uint8_t closed;   // pin switches, bits of pin_switches.h
};

const uint8_t kSlots = 32;  // 0.16 s at 200 samples a second, 352 bytes on the chip

// Every tick takes a number, so the receiver sees each lost sample as a gap in SEQ. Each counter has one writer, and
// none is ever reset while sampling runs.
class Sampler {
 public:
  // Before the first tick of a record.
  void reset() {
    next_seq_ = 0;
    due_ = false;
    missed_ = 0;
    dropped_ = 0;
    ring_.clear();
  }

  // The timer interrupt. A tick that nobody took before the next one is missed.
  void tick() {
    if (due_) missed_ = missed_ + 1;
    due_seq_ = next_seq_;
    next_seq_ = next_seq_ + 1;
    due_ = true;
  }

  bool due() const { return due_; }

  // The number of the tick that is due, which is thereby taken. Call with interrupts off.
  uint16_t take() {
    due_ = false;
    return due_seq_;
  }

  // A sample that was read; counted as dropped when the buffer is full.
  void deliver(const Sample& sample) {
    if (!ring_.push(sample)) dropped_ = dropped_ + 1;
  }

  bool next(Sample& sample) { return ring_.pop(sample); }
  uint8_t waiting() const { return ring_.size(); }

  // Samples lost since reset(): missed ticks and a full buffer. Call with interrupts off.
  uint32_t lost() const { return missed_ + dropped_; }

 private:
  RingBuffer<Sample, kSlots> ring_;
  volatile uint16_t next_seq_ = 0;
  volatile uint16_t due_seq_ = 0;
  volatile bool due_ = false;
  volatile uint32_t missed_ = 0;   // written by the timer interrupt
  volatile uint32_t dropped_ = 0;  // written by whoever delivers
};

}  // namespace throwbook
