// A conversation with a made-up port and sensor, driven from stdin, one order a line:
//   pc HEX        bytes arrive from the PC        sample SEQ MICROS I V CLOSED   the sensor has one
//   lost N        the sensor has lost N in all    answers 0|1             the sensor answers, or not
//   beside BITS CENTIDEGREES   switches fitted, and a thermistor that reads so; -32768: it isn't answering
//   reset         the sensor lost its settings    room N                  bytes the port takes before it is full
//   step N        the loop comes round N times
// What the board sends appears on stdout.
#include <conversation.h>

#include <iostream>
#include <queue>
#include <sstream>
#include <string>

using namespace throwbook;

namespace {

struct Port {
  std::string incoming;
  size_t taken = 0;
  long room = 1000000;
  int available() { return static_cast<int>(incoming.size() - taken); }
  int read() { return static_cast<unsigned char>(incoming[taken++]); }
  int availableForWrite() { return room > 0 ? 1 : 0; }
  size_t write(uint8_t byte) {
    --room;
    std::cout << static_cast<char>(byte);
    return 1;
  }
};

struct Sensor {
  std::queue<Sample> samples;
  SensorScale counts = {1000, 4000, 32000, 32000, true, 36, 900};
  bool present = true;
  bool reset = false;
  uint32_t lost_so_far = 0;
  bool running = false;
  bool probe() { return present; }
  bool answering() const { return present; }
  bool was_reset() {
    const bool was = reset;
    reset = false;
    return was;
  }
  const SensorScale& scale() const { return counts; }
  const char* absent_text() const { return "gone"; }
  void set_rate(uint16_t hz) { std::cout << "[rate " << hz << "]\n"; }
  void start() { std::cout << "[start]\n"; }
  void stop() { std::cout << "[stop]\n"; }
  bool next(Sample& sample) {
    if (samples.empty()) return false;
    sample = samples.front();
    samples.pop();
    return true;
  }
  uint8_t waiting() const { return static_cast<uint8_t>(samples.size()); }
  uint32_t lost() const { return lost_so_far; }
  uint8_t fitted = 0;
  bool thermistor = false;
  int16_t centidegrees = 0;
  uint8_t switches_fitted() const { return fitted; }
  bool has_temperature() const { return thermistor; }
  int16_t temperature() const { return centidegrees; }
};

std::string bytes_of_hex(const std::string& hex) {
  std::string bytes;
  for (size_t i = 0; i + 1 < hex.size(); i += 2) bytes += static_cast<char>(std::stoi(hex.substr(i, 2), nullptr, 16));
  return bytes;
}

}  // namespace

int main() {
  Port port;
  Sensor sensor;
  const About about = {"bench-1", "test-1.0", 115200, 200, 2000};
  Conversation<Port, Sensor> board(port, sensor, about);
  bool up = false;
  for (std::string line; std::getline(std::cin, line);) {
    std::istringstream words(line);
    std::string order, hex;
    words >> order;
    long number = 0;
    if (order == "pc" && words >> hex) port.incoming += bytes_of_hex(hex);
    if (order == "lost" && words >> number) sensor.lost_so_far = static_cast<uint32_t>(number);
    if (order == "answers" && words >> number) sensor.present = number != 0;
    if (order == "reset") sensor.reset = true;
    if (order == "room" && words >> number) port.room = number;
    Sample sample{};
    if (order == "sample" && words >> sample.seq >> sample.micros >> sample.current >> sample.voltage) {
      if (words >> number) sample.closed = static_cast<uint8_t>(number);
      sensor.samples.push(sample);
    }
    if (order == "beside" && words >> number >> sensor.centidegrees) {
      sensor.fitted = static_cast<uint8_t>(number);
      sensor.thermistor = true;
    }
    if (order != "step") continue;
    if (!up) board.power_up();
    up = true;
    words >> number;
    while (number-- > 0) board.step();
  }
}
