// Timer1 of the ATmega328P as the sampling clock. Device registers: this header is for the board only.
// Its compare pins stay plain inputs: no bit that connects the timer to a pin is ever set.
#pragma once
#include <avr/interrupt.h>
#include <avr/io.h>

#include "sample_timer.h"

namespace throwbook {

inline void sample_clock_stop() {
  TIMSK1 = 0;
  TCCR1B = 0;
}

// Interrupts at TIMER1_COMPA_vect, `rate_hz` times a second, from one period from now on.
inline void sample_clock_start(uint16_t rate_hz) {
  const TimerSetting setting = timer_setting(F_CPU, rate_hz);
  sample_clock_stop();
  TCCR1A = 0;
  TCNT1 = 0;
  OCR1A = setting.top;
  TIFR1 = _BV(OCF1A);
  TIMSK1 = _BV(OCIE1A);
  TCCR1B = static_cast<uint8_t>(_BV(WGM12) | setting.clock_select);
}

// Microseconds until the next interrupt, rounded down; more than any period while the clock is stopped.
inline uint32_t sample_clock_left_us() {
  if (!(TIMSK1 & _BV(OCIE1A))) return 0xFFFFFFFF;
  const uint8_t flags = SREG;
  cli();
  const uint16_t ticks = TIFR1 & _BV(OCF1A) ? 0 : static_cast<uint16_t>(OCR1A - TCNT1);
  SREG = flags;
  const uint16_t divider = kTimerDividers[(TCCR1B & 7) - 1];
  return static_cast<uint32_t>(ticks) * divider / (F_CPU / 1000000);
}

}  // namespace throwbook
