// A digital temperature probe of the DS18B20 type, alone on a one-wire bus and fed with 5 V of its own: what is said on
// the bus, in single time slots with pauses between, so that the caller can fit each between two samples.
//
// A reading counts only if all of this holds, else there is no temperature:
//   the probe answered every reset, and the line was up before every slot
//   it said that it converts, and then that it was done
//   the scratchpad's check is right, and it holds the mark that was written before this very conversion: a probe that lost its
//   supply meanwhile has another one. So the 85.0 that it holds at power-on is never taken for a temperature.
#pragma once
#include <stdint.h>

#include "ntc.h"

namespace throwbook {

// Data sheet of the DS18B20: function commands and memory map.
const uint8_t kSkipRom = 0xCC;  // the only one on its bus: no address
const uint8_t kWriteScratchpad = 0x4E;
const uint8_t kConvert = 0x44;
const uint8_t kReadScratchpad = 0xBE;
const uint8_t kTwelveBits = 0x7F;  // configuration register: sixteenths of a degree, up to 750 ms
const uint8_t kScratchpadBytes = 9;
const int16_t kColdestSixteenths = -55 * 16;
const int16_t kHottestSixteenths = 125 * 16;

// What must be left until the next sample [us]; see one_wire_line.h.
const uint16_t kResetNeedsUs = 650;
const uint16_t kSlotNeedsUs = 100;

const uint32_t kBetweenSlotsUs = 300;  // leaves the processor to the samples in between; a slot with its recovery is over in 70
const uint32_t kAfterResetUs = 1200;   // 480 low and 480 for the answer, from the start of the reset
const uint32_t kBetweenAsksUs = 10000;
const uint8_t kMostAsks = 100;  // a conversion that takes a second takes for ever
const uint32_t kRestUs = 250000;
const uint32_t kStaleUs = 5000000;

// Polynomial x^8 + x^5 + x^4 + 1, lowest bit first, from 0. Over bytes and their check it comes to 0.
inline uint8_t crc8(const uint8_t* bytes, uint8_t count) {
  uint8_t crc = 0;
  for (uint8_t n = 0; n < count; ++n) {
    crc ^= bytes[n];
    for (uint8_t bit = 0; bit < 8; ++bit) crc = static_cast<uint8_t>(crc & 1 ? crc >> 1 ^ 0x8C : crc >> 1);
  }
  return crc;
}

// Hundredths of a degree C from a scratchpad, or kNotAnswering.
inline int16_t probe_centidegrees(const uint8_t* scratchpad, uint8_t mark) {
  if (crc8(scratchpad, kScratchpadBytes) != 0) return kNotAnswering;
  if (scratchpad[2] != mark || scratchpad[3] != static_cast<uint8_t>(~mark)) return kNotAnswering;
  if (scratchpad[4] != kTwelveBits) return kNotAnswering;
  const int16_t sixteenths = static_cast<int16_t>(static_cast<uint16_t>(scratchpad[1]) << 8 | scratchpad[0]);
  if (sixteenths < kColdestSixteenths || sixteenths > kHottestSixteenths) return kNotAnswering;
  const int32_t quarters = static_cast<int32_t>(sixteenths) * 25;
  return static_cast<int16_t>((quarters + (quarters < 0 ? -2 : 2)) / 4);
}

// Line: static bool high();  the level while nobody here pulls it low
//       static bool reset(); true: a probe answered
//       static void write(bool);  static bool read();   one time slot
template <class Line>
class OneWireProbe {
 public:
  // As often as the loop comes round: at most one slot. `free_us`: until the next sample is due.
  void step(uint32_t now_us, uint32_t free_us) {
    if (now_us - good_us_ > kStaleUs) centidegrees_ = kNotAnswering;
    if (now_us - since_us_ < wait_us_ || free_us < (opened_ ? kSlotNeedsUs : kResetNeedsUs)) return;
    since_us_ = now_us;
    wait_us_ = kBetweenSlotsUs;
    if (!Line::high()) return fail();  // shorted, or held down by something that is no probe
    if (!opened_) return open();
    if (slot_ < 8 * orders()) {
      write_next();
    } else if (talk_ == Talk::convert) {
      ask_whether_done();
    } else {
      read_next(now_us);
    }
  }

  int16_t centidegrees() const { return centidegrees_; }

 private:
  // Each begins with a reset.
  enum class Talk : uint8_t { prepare, convert, read };

  uint8_t orders() const { return talk_ == Talk::prepare ? 5 : 2; }

  uint8_t order(uint8_t n) const {
    if (n == 0) return kSkipRom;
    if (n == 1) return talk_ == Talk::prepare ? kWriteScratchpad : talk_ == Talk::convert ? kConvert : kReadScratchpad;
    return n == 2 ? mark_ : n == 3 ? static_cast<uint8_t>(~mark_) : kTwelveBits;
  }

  void begin(Talk talk) {
    talk_ = talk;
    opened_ = false;
  }

  // Every measurement has a mark of its own.
  void rest() {
    begin(Talk::prepare);
    ++mark_;
    wait_us_ = kRestUs;
  }

  void fail() {
    centidegrees_ = kNotAnswering;
    rest();
  }

  void open() {
    if (!Line::reset()) return fail();
    opened_ = true;
    slot_ = 0;
    wait_us_ = kAfterResetUs;
  }

  void write_next() {
    Line::write(order(slot_ / 8) >> slot_ % 8 & 1);
    ++slot_;
    if (talk_ == Talk::prepare && slot_ == 8 * orders()) begin(Talk::convert);
  }

  // It answers 0 while it converts and 1 when it is done. One that is done at once never began.
  void ask_whether_done() {
    const bool first = slot_ == 8 * orders();
    const bool done = Line::read();
    if (done && !first) return begin(Talk::read);
    if (done || ++slot_ > 8 * orders() + kMostAsks) return fail();
    wait_us_ = kBetweenAsksUs;
  }

  void read_next(uint32_t now_us) {
    const uint8_t bit = static_cast<uint8_t>(slot_ - 8 * orders());
    uint8_t& byte = scratchpad_[bit / 8];
    byte = static_cast<uint8_t>(byte >> 1 | (Line::read() ? 0x80 : 0));
    ++slot_;
    if (bit + 1 < 8 * kScratchpadBytes) return;
    centidegrees_ = probe_centidegrees(scratchpad_, mark_);
    good_us_ = now_us;
    rest();
  }

  uint32_t since_us_ = 0;
  uint32_t wait_us_ = 0;
  uint32_t good_us_ = 0;
  int16_t centidegrees_ = kNotAnswering;
  uint8_t scratchpad_[kScratchpadBytes];
  uint8_t mark_ = 1;
  uint8_t slot_ = 0;  // of this talk, after its reset
  Talk talk_ = Talk::prepare;
  bool opened_ = false;
};

}  // namespace throwbook
