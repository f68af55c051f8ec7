// Answers questions about the sketch headers, one a line on stdin, for the tests in Python: each question is answered
// by the header alone, so what is right stands in one place only, in the tests.
#include <alarm.h>
#include <commands.h>
#include <hall.h>
#include <ina_registers.h>
#include <line_builder.h>
#include <line_reader.h>
#include <rate_limit.h>
#include <sample_timer.h>
#include <sampler.h>

#include <functional>
#include <iostream>
#include <map>
#include <sstream>
#include <string>

using namespace throwbook;
using Words = std::istringstream;

namespace {

template <class T>
T next(Words& words) {
  T value;
  if (!(words >> value)) throw std::runtime_error("a word is missing");
  return value;
}

InaKind kind(Words& words) { return next<std::string>(words) == "ina219" ? InaKind::ina219 : InaKind::ina226; }
long number(Words& words) { return next<long>(words); }

std::string bytes_of_hex(const std::string& hex) {
  std::string bytes;
  for (size_t i = 0; i + 1 < hex.size(); i += 2) bytes += static_cast<char>(std::stoi(hex.substr(i, 2), nullptr, 16));
  return bytes;
}

// Feeds bytes to one reader; answers each good body as parsed, and how many lines were dropped.
void read_lines(Words& words) {
  LineReader reader;
  std::string hex;
  words >> hex;
  for (char c : bytes_of_hex(hex)) {
    if (!reader.take(c)) continue;
    const Command command = parse_command(reader.body());
    std::cout << static_cast<int>(command.order) << ":" << command.rate_hz << ":"
              << std::string(reader.body(), reader.body_length()) << "|";
  }
  std::cout << "dropped " << reader.dropped();
}

void sample_line(Words& words) {
  LineBuilder line;
  line.start('D').field(next<uint32_t>(words)).field(next<uint32_t>(words));
  line.field_signed(next<int16_t>(words)).field_signed(next<int16_t>(words));
  line.finish();
  std::cout << std::string(line.bytes(), line.length() - 1u);
}

void line_of_length(Words& words) {
  LineBuilder line;
  line.start('F').field(std::string(static_cast<size_t>(number(words)), 'x').c_str());
  const bool made = line.finish();
  std::cout << made << " " << static_cast<int>(line.length());
}

// Ticks and reads as told: t tick, r read and deliver what is due, n send one. Answers the numbers sent, and the loss.
void sample(Words& words) {
  Sampler sampler;
  sampler.reset();
  std::string steps;
  long repeats = number(words);
  words >> steps;
  for (; repeats > 0; --repeats) {
    for (char step : steps) {
      Sample one{};
      if (step == 't') sampler.tick();
      if (step == 'r' && sampler.due()) {
        one.seq = sampler.take();
        sampler.deliver(one);
      }
      if (step == 'n' && sampler.next(one)) std::cout << one.seq << " ";
    }
  }
  std::cout << "waiting " << static_cast<int>(sampler.waiting()) << " lost " << sampler.lost();
}

void alarms(Words& words) {
  Alarm alarm;
  const uint16_t rearm = next<uint16_t>(words);
  for (char c : next<std::string>(words)) std::cout << alarm.rises(c == 'x', rearm);
}

const std::map<std::string, std::function<void(Words&)>> kQuestions = {
    {"crc", [](Words& w) { const auto text = next<std::string>(w); std::cout << std::hex << crc16(text.data(), static_cast<uint8_t>(text.size())); }},
    {"read", read_lines},
    {"sample-line", sample_line},
    {"line-of-length", line_of_length},
    {"sample", sample},
    {"alarm", alarms},
    {"timer", [](Words& w) { const uint32_t clock = next<uint32_t>(w); const TimerSetting s = timer_setting(clock, next<uint32_t>(w)); std::cout << kTimerDividers[s.clock_select - 1] * (s.top + 1L); }},
    {"longest-line", [](Words& w) { const long i = number(w); const long has = number(w); std::cout << static_cast<int>(longest_sample_line(static_cast<uint16_t>(i), has, static_cast<uint16_t>(number(w)))); }},
    {"lines-a-second", [](Words& w) { const uint32_t baud = next<uint32_t>(w); std::cout << most_lines_a_second(baud, static_cast<uint8_t>(number(w))); }},
    {"calibration", [](Words& w) { const InaKind k = kind(w); const uint32_t lsb = next<uint32_t>(w); std::cout << ina_calibration(k, lsb, next<uint32_t>(w)); }},
    {"corrected", [](Words& w) { const long cal = number(w); const uint32_t meter = next<uint32_t>(w); std::cout << ina_corrected_calibration(static_cast<uint16_t>(cal), meter, next<uint32_t>(w)); }},
    {"current", [](Words& w) { const InaKind k = kind(w); const long shunt = number(w); std::cout << ina_current_register(k, static_cast<int16_t>(shunt), static_cast<uint16_t>(number(w))); }},
    {"power", [](Words& w) { const InaKind k = kind(w); const long current = number(w); std::cout << ina_power_register(k, static_cast<int16_t>(current), static_cast<int16_t>(number(w))); }},
    {"bus", [](Words& w) { const InaKind k = kind(w); std::cout << ina_bus_counts(k, static_cast<uint16_t>(number(w))); }},
    {"bus-lsb", [](Words& w) { std::cout << ina_scale(kind(w)).bus_lsb_uv; }},
    {"amp-lsb", [](Words& w) { const InaKind k = kind(w); std::cout << ina_amp_lsb_ua(k, next<uint32_t>(w)); }},
    {"full-scale", [](Words& w) { const InaKind k = kind(w); const long mv = number(w); std::cout << ina_full_scale_counts(k, static_cast<uint16_t>(mv)) << " " << ina_full_scale_ma(k, static_cast<uint16_t>(mv), next<uint32_t>(w)); }},
    {"config", [](Words& w) { const InaKind k = kind(w); const long hz = number(w); std::cout << ina_config(k, static_cast<uint32_t>(hz), static_cast<uint16_t>(number(w))); }},
    {"most-hz", [](Words& w) { std::cout << ina_most_hz(kind(w)); }},
    {"hall", [](Words& w) { const long mv = number(w); std::cout << hall_amp_lsb_ua(static_cast<uint16_t>(mv)) << " " << hall_counts(static_cast<int16_t>(number(w))); }},
    {"divider", [](Words& w) { const long mv = number(w); const uint32_t top = next<uint32_t>(w); std::cout << divider_lsb_uv(static_cast<uint16_t>(mv), top, next<uint32_t>(w)); }},
};

}  // namespace

int main() {
  for (std::string line; std::getline(std::cin, line);) {
    Words words(line);
    kQuestions.at(next<std::string>(words))(words);
    std::cout << std::dec << std::endl;
  }
}
