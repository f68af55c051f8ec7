// Divider and top of a 16-bit timer that clears on compare, for a sampling rate.
#pragma once
#include <stdint.h>

namespace throwbook {

struct TimerSetting {
  uint8_t clock_select;  // bits CS12..CS10 of TCCR1B
  uint16_t top;          // OCR1A: the timer counts 0..top
};

// Dividers of Timer1 of the ATmega328P in the order of their clock-select bits 1, 2, 3, 4 (data sheet, TCCR1B).
const uint16_t kTimerDividers[] = {1, 8, 64, 256};

// The smallest divider that can count a whole period, so the rate comes out as near as the timer can make it:
// exact where it divides the clock, else within 8 parts in a million of a period of 65536 ticks.
// `rate_hz` from 1 to clock_hz / 2; `clock_hz` up to 16.7 MHz at 1 Hz.
inline TimerSetting timer_setting(uint32_t clock_hz, uint32_t rate_hz) {
  uint8_t clock_select = 1;
  uint32_t ticks = 0;
  for (uint16_t divider : kTimerDividers) {
    const uint32_t timer_hz = clock_hz / divider;
    ticks = (timer_hz + rate_hz / 2) / rate_hz;
    if (ticks <= 65536) break;
    ++clock_select;
  }
  return {clock_select, static_cast<uint16_t>(ticks - 1)};
}

}  // namespace throwbook
