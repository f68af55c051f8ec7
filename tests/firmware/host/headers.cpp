// Answers questions about the sketch headers, one a line on stdin, for the tests in Python: each question is answered
// by the header alone, so what is right stands in one place only, in the tests.
#include <alarm.h>
#include <commands.h>
#include <hall.h>
#include <ina_registers.h>
#include <line_builder.h>
#include <line_reader.h>
#include <ntc.h>
#include <one_wire.h>
#include <pin_switches.h>
#include <rate_limit.h>
#include <sample_timer.h>
#include <sampler.h>

#include <functional>
#include <iostream>
#include <iterator>
#include <map>
#include <sstream>
#include <string>
#include <vector>

using namespace throwbook;
using Words = std::istringstream;

namespace {

template <class T>
T next(Words& words) {
  T value;
  if (!(words >> value)) throw std::runtime_error("a word is missing");
  return value;
}

long number(Words& words) { return next<long>(words); }

void crc(Words& words) {
  const std::string text = next<std::string>(words);
  std::cout << std::hex << crc16(text.data(), static_cast<uint8_t>(text.size())) << std::dec;
}

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

// Readings of both switches, one a tick: what counts as closed after each.
void debounce(Words& words) {
  Debounced switches;
  const uint16_t rate = next<uint16_t>(words);
  const std::string readings = next<std::string>(words);
  switches.begin(static_cast<uint8_t>(readings[0] - '0'), rate);
  for (char c : readings.substr(1)) std::cout << static_cast<int>(switches.take(static_cast<uint8_t>(c - '0')));
}

// Conversions of a 10 kohm thermistor over 10 kohm, B 3950 K: hundredths of a degree after each.
void thermistor(Words& words) {
  static const NtcTable table = ntc_table({10000, 3950, 10000});
  NtcInput input;
  for (int counts; words >> counts;) {
    input.take(static_cast<int16_t>(counts));
    std::cout << ntc_centidegrees(table, input.sixteenths()) << " ";
  }
}

void check_of_one_wire(Words& words) {
  const std::string bytes = bytes_of_hex(next<std::string>(words));
  const uint8_t* first = reinterpret_cast<const uint8_t*>(bytes.data());
  std::cout << std::hex << static_cast<int>(crc8(first, static_cast<uint8_t>(bytes.size()))) << std::dec;
}

// A scratchpad of nine bytes, and the mark that was written before.
void scratchpad(Words& words) {
  const std::string bytes = bytes_of_hex(next<std::string>(words));
  if (bytes.size() != kScratchpadBytes) throw std::runtime_error("not nine bytes");
  const uint8_t mark = static_cast<uint8_t>(number(words));
  std::cout << probe_centidegrees(reinterpret_cast<const uint8_t*>(bytes.data()), mark);
}

using Numbers = std::vector<int64_t>;

InaKind kind(int64_t chip) { return chip == 219 ? InaKind::ina219 : InaKind::ina226; }

TimerSetting timer(const Numbers& n) { return timer_setting(uint32_t(n[0]), uint32_t(n[1])); }

// Questions whose words are all numbers; a kind of sensor is 219 or 226.
const std::map<std::string, std::function<int64_t(const Numbers&)>> kSums = {
    {"timer", [](const Numbers& n) { return kTimerDividers[timer(n).clock_select - 1] * (timer(n).top + 1L); }},
    {"longest-line", [](const Numbers& n) { return longest_sample_line(uint16_t(n[0]), n[1] != 0, uint16_t(n[2])); }},
    {"longest-line-with-pins",
     [](const Numbers& n) { return longest_sample_line(uint16_t(n[0]), true, uint16_t(n[1]), true, true); }},
    {"closed", [](const Numbers& n) { return closed_bits({n[0] != 0, 2, n[1] != 0, 3}, uint8_t(n[2])); }},
    {"lines-a-second", [](const Numbers& n) { return most_lines_a_second(uint32_t(n[0]), uint8_t(n[1])); }},
    {"calibration", [](const Numbers& n) { return ina_calibration(kind(n[0]), uint32_t(n[1]), uint32_t(n[2])); }},
    {"bus", [](const Numbers& n) { return ina_bus_counts(kind(n[0]), uint16_t(n[1])); }},
    {"bus-lsb", [](const Numbers& n) { return ina_scale(kind(n[0])).bus_lsb_uv; }},
    {"amp-lsb", [](const Numbers& n) { return ina_amp_lsb_ua(kind(n[0]), uint32_t(n[1])); }},
    {"full-scale-counts", [](const Numbers& n) { return ina_full_scale_counts(kind(n[0]), uint16_t(n[1])); }},
    {"full-scale-ma", [](const Numbers& n) { return ina_full_scale_ma(kind(n[0]), uint16_t(n[1]), uint32_t(n[2])); }},
    {"config", [](const Numbers& n) { return ina_config(kind(n[0]), uint32_t(n[1]), uint16_t(n[2])); }},
    {"most-hz", [](const Numbers& n) { return ina_most_hz(kind(n[0])); }},
    {"hall-lsb", [](const Numbers& n) { return hall_amp_lsb_ua(uint16_t(n[0])); }},
    {"hall-counts", [](const Numbers& n) { return hall_counts(int16_t(n[0])); }},
    {"hall-full-scale", [](const Numbers& n) { return hall_full_scale_counts(uint32_t(n[0]), uint16_t(n[1])); }},
    {"divider", [](const Numbers& n) { return divider_lsb_uv(uint16_t(n[0]), uint32_t(n[1]), uint32_t(n[2])); }},
};

const std::map<std::string, std::function<void(Words&)>> kTalks = {
    {"crc", crc},       {"read", read_lines}, {"sample-line", sample_line}, {"line-of-length", line_of_length},
    {"sample", sample}, {"alarm", alarms},    {"debounce", debounce},       {"thermistor", thermistor},
    {"crc8", check_of_one_wire}, {"scratchpad", scratchpad},
};

}  // namespace

int main() {
  for (std::string line; std::getline(std::cin, line);) {
    Words words(line);
    const std::string question = next<std::string>(words);
    if (kTalks.count(question)) {
      kTalks.at(question)(words);
    } else {
      std::cout << kSums.at(question)(Numbers(std::istream_iterator<int64_t>(words), {}));
    }
    std::cout << std::endl;
  }
}
