// Builds one line of the board protocol: BODY*CCCC and a line feed. No heap, no String, no printf.
#pragma once
#include <stdint.h>

#include "crc16.h"

namespace throwbook {

const uint8_t kLongestLine = 120;  // bytes before the line feed, the check included
const uint8_t kCheckBytes = 5;     // the star and four hex digits

class LineBuilder {
 public:
  // Starts a new line with its first field: B, D, K, N or F.
  LineBuilder& start(char kind) {
    length_ = 0;
    crc_ = kCrcStart;
    too_long_ = false;
    put(kind);
    return *this;
  }

  // The next field. The texts are our own: printable, without comma or star.
  LineBuilder& field(const char* text) {
    put(',');
    return more(text);
  }

  LineBuilder& field(uint32_t number) {
    put(',');
    return more(number);
  }

  LineBuilder& field_signed(int16_t number) {
    put(',');
    if (number < 0) put('-');
    return more(static_cast<uint32_t>(number < 0 ? -static_cast<int32_t>(number) : number));
  }

  // Continues the field in hand.
  LineBuilder& more(const char* text) {
    while (*text) put(*text++);
    return *this;
  }

  LineBuilder& more(uint32_t number) {
    char digits[10];
    uint8_t count = 0;
    while (number > 0xFFFF) {  // 32-bit division is slow on an 8-bit chip: leave it as soon as it allows
      digits[count++] = static_cast<char>('0' + number % 10);
      number /= 10;
    }
    uint16_t rest = static_cast<uint16_t>(number);
    do {
      digits[count++] = static_cast<char>('0' + rest % 10);
      rest /= 10;
    } while (rest);
    while (count) put(digits[--count]);
    return *this;
  }

  // Adds the check and the line feed. False: the body was too long, and there is no line; a cut one is never sent.
  bool finish() {
    if (too_long_) {
      length_ = 0;
      return false;
    }
    const uint16_t crc = crc_;
    bytes_[length_++] = '*';
    for (int8_t shift = 12; shift >= 0; shift -= 4) bytes_[length_++] = "0123456789ABCDEF"[(crc >> shift) & 15];
    bytes_[length_++] = '\n';
    return true;
  }

  const char* bytes() const { return bytes_; }
  uint8_t length() const { return length_; }

 private:
  void put(char c) {
    if (length_ >= kLongestLine - kCheckBytes) {
      too_long_ = true;
      return;
    }
    bytes_[length_++] = c;
    crc_ = crc16_step(crc_, static_cast<uint8_t>(c));
  }

  char bytes_[kLongestLine + 1];
  uint8_t length_ = 0;
  uint16_t crc_ = kCrcStart;
  bool too_long_ = false;
};

}  // namespace throwbook
