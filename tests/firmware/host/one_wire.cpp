// A made-up probe on a made-up line, and the sketches' talk with it, driven from stdin, one order a line:
//   sixteenths N     what it measures              present 0|1   it is on the line, or not
//   shorted 0|1      the line is shorted to ground  deaf 0|1      it doesn't hear the order to convert
//   convert-ms N     how long it takes             flip N        bit N of each scratchpad comes wrong; -1: none
//   power-loss       it starts anew, now           free-us N     what is left until the next sample, at every step
//   run MS           the loop comes round every 50 us for so long; answers: hundredths of a degree, resets, slots, and
//                    the shortest time between two of them [us]
#include <one_wire.h>

#include <iostream>
#include <sstream>
#include <string>

using namespace throwbook;

namespace {

struct Made {
  uint32_t now_us = 0, done_us = 0, convert_us = 700000, last_us = 0, shortest_us = 0xFFFFFFFF;
  long resets = 0, slots = 0;
  int sixteenths = 0, flip = -1;
  bool present = true, shorted = false, deaf = false, converting = false;
  uint8_t scratchpad[9];
  uint8_t heard = 0, bits = 0, order = 0, written = 0;
  bool addressed = false;
  int sent = 0;

  void check() { scratchpad[8] = crc8(scratchpad, 8); }

  // Temperature at power-on and resolution: data sheet of the DS18B20. The other bytes: from memory.
  void power_on() {
    const uint8_t fresh[9] = {0x50, 0x05, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10, 0};
    for (int n = 0; n < 9; ++n) scratchpad[n] = fresh[n];
    check();
    converting = addressed = false;
    order = 0;
  }

  void used() {
    if (resets + slots && now_us - last_us < shortest_us) shortest_us = now_us - last_us;
    last_us = now_us;
  }

  void finish_conversion() {
    if (!converting || now_us < done_us) return;
    converting = false;
    scratchpad[0] = static_cast<uint8_t>(sixteenths & 255);
    scratchpad[1] = static_cast<uint8_t>(sixteenths >> 8 & 255);
    check();
  }

  void take(uint8_t byte) {
    if (!addressed) {
      addressed = byte == 0xCC;
    } else if (!order) {
      order = byte;
      written = 0;
      sent = 0;
      if (order == 0x44 && !deaf) {
        converting = true;
        done_us = now_us + convert_us;
      }
    } else if (order == 0x4E && written < 3) {
      scratchpad[2 + written++] = byte;
      check();
    }
  }
} made;

struct Line {
  static bool high() { return !made.shorted; }
  static bool reset() {
    made.used();
    ++made.resets;
    made.addressed = false;
    made.order = made.heard = made.bits = 0;
    return made.present;
  }
  static void write(bool bit) {
    made.used();
    ++made.slots;
    if (!made.present) return;
    made.heard = static_cast<uint8_t>(made.heard >> 1 | (bit ? 0x80 : 0));
    if (++made.bits < 8) return;
    made.bits = 0;
    made.take(made.heard);
  }
  static bool read() {
    made.used();
    ++made.slots;
    made.finish_conversion();
    if (!made.present) return true;
    if (made.order == 0x44) return !made.converting;
    if (made.order != 0xBE || made.sent >= 72) return true;
    const bool bit = made.scratchpad[made.sent / 8] >> made.sent % 8 & 1;
    return bit != (made.sent++ == made.flip);
  }
};

}  // namespace

int main() {
  OneWireProbe<Line> probe;
  uint32_t free_us = 0xFFFFFFFF;
  made.power_on();
  for (std::string line; std::getline(std::cin, line);) {
    std::istringstream words(line);
    std::string order;
    long number = 0;
    words >> order >> number;
    if (order == "sixteenths") made.sixteenths = static_cast<int>(number);
    if (order == "present") made.present = number != 0;
    if (order == "shorted") made.shorted = number != 0;
    if (order == "deaf") made.deaf = number != 0;
    if (order == "convert-ms") made.convert_us = static_cast<uint32_t>(number) * 1000;
    if (order == "flip") made.flip = static_cast<int>(number);
    if (order == "power-loss") made.power_on();
    if (order == "free-us") free_us = static_cast<uint32_t>(number);
    if (order != "run") continue;
    for (const uint32_t end_us = made.now_us + static_cast<uint32_t>(number) * 1000; made.now_us != end_us; made.now_us += 50) {
      const long before = made.resets + made.slots;
      probe.step(made.now_us, free_us);
      if (made.resets + made.slots > before + 1) return 1;
    }
    std::cout << probe.centidegrees() << " " << made.resets << " " << made.slots << " " << made.shortest_us << std::endl;
  }
}
