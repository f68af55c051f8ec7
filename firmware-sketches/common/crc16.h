// CRC-16 of the board line protocol: polynomial 0x1021, initial 0xFFFF, not reflected, no final xor.
// Check value of "123456789": 0x29B1 (catalogued as CRC-16/IBM-3740, also called CCITT-FALSE).
#pragma once
#include <stdint.h>

namespace throwbook {

const uint16_t kCrcStart = 0xFFFF;

// The CRC after one more byte. Bit by bit: 160 us for a full line at 16 MHz, and no table in memory.
inline uint16_t crc16_step(uint16_t crc, uint8_t byte) {
  crc ^= static_cast<uint16_t>(byte) << 8;
  for (uint8_t bit = 0; bit < 8; ++bit) {
    crc = (crc & 0x8000) ? static_cast<uint16_t>(crc << 1) ^ 0x1021 : static_cast<uint16_t>(crc << 1);
  }
  return crc;
}

inline uint16_t crc16(const char* bytes, uint8_t length) {
  uint16_t crc = kCrcStart;
  for (uint8_t i = 0; i < length; ++i) crc = crc16_step(crc, static_cast<uint8_t>(bytes[i]));
  return crc;
}

}  // namespace throwbook
