// The commands a board takes. A body that isn't exactly one of them is no command: it is dropped, never guessed at.
#pragma once
#include <stdint.h>
#include <string.h>

namespace throwbook {

enum class Order : uint8_t { none, who, rate, go, halt, ping };

struct Command {
  Order order;
  uint32_t rate_hz;  // for Order::rate
};

struct CommandRow {
  const char* word;
  Order order;
};

const CommandRow kCommands[] = {
    {"who", Order::who}, {"go", Order::go}, {"halt", Order::halt}, {"ping", Order::ping},
};
const char kRatePrefix[] = "rate,";
const uint32_t kMostRate = 1000000;  // above it, or 0, is no rate at all; what a board carries is far less

inline Command parse_command(const char* body) {
  for (const CommandRow& row : kCommands) {
    if (strcmp(body, row.word) == 0) return {row.order, 0};
  }
  const uint8_t prefix = sizeof kRatePrefix - 1;
  if (strncmp(body, kRatePrefix, prefix) != 0) return {Order::none, 0};
  const char* digit = body + prefix;
  uint32_t rate_hz = 0;
  for (; *digit; ++digit) {
    if (*digit < '0' || *digit > '9') return {Order::none, 0};
    rate_hz = rate_hz * 10 + static_cast<uint32_t>(*digit - '0');
    if (rate_hz > kMostRate) return {Order::none, 0};
  }
  if (rate_hz == 0) return {Order::none, 0};
  return {Order::rate, rate_hz};
}

}  // namespace throwbook
