// Temperature of a thermistor (NTC) from a 10-bit converter whose reference is the same supply: thermistor from the input
// to ground, a fixed resistor from the input to the supply. The supply cancels.
//
// R = R25 * exp(B * (1/T - 1/T25)), T in kelvin: the beta equation that data sheets of thermistors give B for. The table is
// calculated by the compiler, with straight lines between its points: no logarithm on the chip.
#pragma once
#include <stdint.h>
#ifdef __AVR__
#include <avr/pgmspace.h>
#else
#define PROGMEM
#define pgm_read_word(place) (*(place))
#endif

namespace throwbook {

const int16_t kNotAnswering = -32768;

struct Thermistor {
  double ohm_at_25;
  double beta_k;
  double series_ohm;
};

// ln((1 + y) / (1 - y)) / 2, which converges quickly for the small y below.
constexpr double atanh_series(double y, double power, int n) {
  return n > 21 ? 0 : power / n + atanh_series(y, power * y * y, n + 2);
}

// Halved or doubled until near 1: 0.6931... is ln 2.
constexpr double natural_log(double x) {
  return x > 1.5    ? 0.69314718055994531 + natural_log(x / 2)
         : x < 0.75 ? natural_log(x * 2) - 0.69314718055994531
                    : 2 * atanh_series((x - 1) / (x + 1), (x - 1) / (x + 1), 1);
}

// Hundredths of a degree C at which the converter reads `counts` (1 to 1023) of 1024.
constexpr double centidegrees(const Thermistor& ntc, double counts) {
  return 100 / (1 / 298.15 + natural_log(ntc.series_ohm / ntc.ohm_at_25 * counts / (1024 - counts)) / ntc.beta_k) - 27315;
}

const int16_t kNtcStep = 32;  // counts between two points of the table
const int16_t kNtcFirst = 64;
const uint8_t kNtcPoints = 30;
const int16_t kNtcLast = kNtcFirst + kNtcStep * (kNtcPoints - 1);  // 992

struct NtcTable {
  int16_t centidegrees[kNtcPoints];
};

constexpr int16_t nearest(double x) { return static_cast<int16_t>(x < 0 ? x - 0.5 : x + 0.5); }

constexpr int16_t ntc_point(const Thermistor& ntc, int n) {
  return nearest(centidegrees(ntc, kNtcFirst + kNtcStep * n));
}

constexpr NtcTable ntc_table(const Thermistor& t) {
  return {{ntc_point(t, 0),  ntc_point(t, 1),  ntc_point(t, 2),  ntc_point(t, 3),  ntc_point(t, 4),  ntc_point(t, 5),
           ntc_point(t, 6),  ntc_point(t, 7),  ntc_point(t, 8),  ntc_point(t, 9),  ntc_point(t, 10), ntc_point(t, 11),
           ntc_point(t, 12), ntc_point(t, 13), ntc_point(t, 14), ntc_point(t, 15), ntc_point(t, 16), ntc_point(t, 17),
           ntc_point(t, 18), ntc_point(t, 19), ntc_point(t, 20), ntc_point(t, 21), ntc_point(t, 22), ntc_point(t, 23),
           ntc_point(t, 24), ntc_point(t, 25), ntc_point(t, 26), ntc_point(t, 27), ntc_point(t, 28), ntc_point(t, 29)}};
}

// `sixteenths`: converter counts times 16, so that an average keeps its fractions. Off the table, as with a broken wire or a
// short, it isn't answering.
inline int16_t ntc_centidegrees(const NtcTable& table, uint16_t sixteenths) {
  const uint16_t first = static_cast<uint16_t>(kNtcFirst * 16);
  if (sixteenths < first || sixteenths >= static_cast<uint16_t>(kNtcLast * 16)) return kNotAnswering;
  const uint16_t beyond = static_cast<uint16_t>(sixteenths - first);
  const uint8_t n = static_cast<uint8_t>(beyond / (kNtcStep * 16));
  const int16_t here = static_cast<int16_t>(pgm_read_word(&table.centidegrees[n]));
  const int16_t next = static_cast<int16_t>(pgm_read_word(&table.centidegrees[n + 1]));
  const uint16_t falls = static_cast<uint16_t>(here - next);  // more counts are more ohms: colder
  return static_cast<int16_t>(here - static_cast<int16_t>(static_cast<uint32_t>(falls) * (beyond % (kNtcStep * 16)) /
                                                          (kNtcStep * 16)));
}

// The average of the last sixteen or so conversions, which starts again where one is off the table.
class NtcInput {
 public:
  void take(int16_t converted) {
    const uint16_t before = sixteenths_;
    if (converted < kNtcFirst || converted >= kNtcLast) {
      sixteenths_ = 0;
    } else {
      sixteenths_ = before ? static_cast<uint16_t>(before - (before + 8) / 16 + converted) : static_cast<uint16_t>(converted * 16);
    }
  }

  // Counts times 16; 0: it isn't answering. Two bytes: call with interrupts off where an interrupt calls take().
  uint16_t sixteenths() const { return sixteenths_; }

 private:
  volatile uint16_t sixteenths_ = 0;
};

}  // namespace throwbook
