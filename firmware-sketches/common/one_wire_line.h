// Reset and time slots of a one-wire bus on a digital pin 2 to 7 of the ATmega328P. Device registers: this header is for the
// board only. The pin is an input with its pull-up off. It is made an output, and then always low, for the length of a pulse
// alone; the resistor on the line pulls it up again.
//
// Times: data sheet of the DS18B20. Reset: low for at least 480 us; a probe answers 15 to 60 us later, low for 60 to 240 us.
// Write 1: low for 1 to 15 us; write 0: 60 to 120 us. Read: low for at least 1 us; the answer stands for 15 us from the fall.
#pragma once
#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/delay.h>

namespace throwbook {

template <uint8_t kPin>
class OneWireLine {
  static_assert(kPin >= 2 && kPin <= 7, "the one-wire probe is on one of the digital pins 2 to 7");

 public:
  static bool high() { return PIND & kBit; }

  // Interrupts may make the low longer, which the probe allows; they are off only for the answer, 68 us.
  // A line that doesn't go low is shorted to the supply: it is let go at once.
  static bool reset() {
    pull_low();
    _delay_us(5);
    if (high()) {
      let_go();
      return false;
    }
    _delay_us(480);
    const uint8_t flags = SREG;
    cli();
    let_go();
    _delay_us(68);
    const bool answered = !high();
    SREG = flags;
    return answered;
  }

  static void write(bool bit) {
    const uint8_t flags = SREG;
    cli();
    pull_low();
    if (bit) {
      _delay_us(6);
    } else {
      _delay_us(64);
    }
    let_go();
    SREG = flags;
  }

  static bool read() {
    const uint8_t flags = SREG;
    cli();
    pull_low();
    _delay_us(2);
    let_go();
    _delay_us(9);
    const bool bit = high();
    SREG = flags;
    return bit;
  }

 private:
  static const uint8_t kBit = 1 << kPin;

  static void pull_low() { DDRD |= kBit; }
  static void let_go() { DDRD &= static_cast<uint8_t>(~kBit); }
};

}  // namespace throwbook
