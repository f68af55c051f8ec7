// Takes bytes one at a time and gives whole bodies whose check holds. Everything else is counted and dropped.
#pragma once
#include <stdint.h>

#include "line_builder.h"

namespace throwbook {

class LineReader {
 public:
  // True when `c` ended a good line: body() holds it, ended by a zero, until the next call.
  bool take(char c) {
    if (c != '\n') {
      if (length_ < kLongestLine) {
        bytes_[length_++] = c;
      } else {
        too_long_ = true;
      }
      return false;
    }
    const bool good = !too_long_ && check_holds();
    if (good) {
      length_ -= kCheckBytes;
      bytes_[length_] = 0;
      body_length_ = length_;
    } else {
      ++dropped_;
    }
    length_ = 0;
    too_long_ = false;
    return good;
  }

  const char* body() const { return bytes_; }
  uint8_t body_length() const { return body_length_; }
  uint16_t dropped() const { return dropped_; }

 private:
  bool check_holds() const {
    if (length_ < kCheckBytes) return false;
    const uint8_t star = length_ - kCheckBytes;
    if (bytes_[star] != '*') return false;
    uint16_t told = 0;
    for (uint8_t i = star + 1; i < length_; ++i) {
      const char c = bytes_[i];
      uint8_t digit;
      if (c >= '0' && c <= '9') {
        digit = static_cast<uint8_t>(c - '0');
      } else if (c >= 'A' && c <= 'F') {
        digit = static_cast<uint8_t>(c - 'A' + 10);
      } else {
        return false;
      }
      told = static_cast<uint16_t>(told << 4) | digit;
    }
    return told == crc16(bytes_, star);
  }

  char bytes_[kLongestLine + 1];
  uint8_t length_ = 0;
  uint8_t body_length_ = 0;
  uint16_t dropped_ = 0;
  bool too_long_ = false;
};

}  // namespace throwbook
