// The board's side of the talk: hears commands, answers them, sends samples and faults. Never waits for the port.
//
// Port:   int available(); int read(); int availableForWrite(); size_t write(uint8_t);   (Serial has them)
// Sensor: bool probe();               look for the sensor and set it up for its rate; true: it answers
//         bool answering();           it gave a value when last asked
//         bool was_reset();           it lost its settings since last asked (told once)
//         const SensorScale& scale(); what one count is worth; asked after probe()
//         const char* absent_text();  completes the fault sensor-absent
//         void set_rate(uint16_t hz); void start(); void stop();   start() begins again at SEQ 0
//         bool next(Sample&); uint8_t waiting(); uint32_t lost();
//         uint8_t switches_fitted();  bits of pin_switches.h; 0: there are none
//         bool has_temperature(); int16_t temperature();   hundredths of a degree C, or kNotAnswering
#pragma once
#include "alarm.h"
#include "commands.h"
#include "line_builder.h"
#include "line_reader.h"
#include "ntc.h"
#include "rate_limit.h"
#include "sampler.h"

namespace throwbook {

struct About {
  const char* id;
  const char* firmware;
  uint32_t baud;
  uint16_t start_rate_hz;
  uint32_t most_hz_of_board;  // what the chip itself keeps up with
};

struct SensorScale {
  uint32_t amp_lsb_ua;
  uint32_t volt_lsb_uv;
  uint32_t full_scale_ma;
  int16_t full_scale_counts;  // beyond it, either way, is over-range
  bool has_voltage;
  uint8_t longest_line;  // bytes
  uint32_t most_hz;      // fresh values a second
};

const uint8_t kSamplesBetweenOverruns = 64;

template <class Port, class Sensor>
class Conversation {
 public:
  Conversation(Port& port, Sensor& sensor, const About& about)
      : port_(port), sensor_(sensor), about_(about), rate_hz_(about.start_rate_hz) {}

  // Once, at power-up: says who it is. The line feed ends whatever half line a reset cut off, so that the PC sees it.
  void power_up() {
    port_.write('\n');
    sensor_.probe();
    say_who();
  }

  // As often as the loop comes round.
  void step() {
    send_waiting_bytes();
    if (sending()) return;
    if (hear()) return;
    if (tell_fault()) return;
    send_sample();
  }

 private:
  // --- to the PC ---

  bool sending() const { return sent_ < line_.length(); }

  void send_waiting_bytes() {
    while (sending() && port_.availableForWrite() > 0) port_.write(static_cast<uint8_t>(line_.bytes()[sent_++]));
  }

  void send() {
    line_.finish();
    sent_ = 0;
    send_waiting_bytes();
  }

  void say_who() {
    const SensorScale& scale = sensor_.scale();
    const bool more = sensor_.switches_fitted() || sensor_.has_temperature();  // an older program reads version 1 only
    line_.start('B').field(more ? "2" : "1").field(about_.id).field(about_.firmware).field(static_cast<uint32_t>(rate_hz_));
    line_.field(scale.amp_lsb_ua).field(scale.volt_lsb_uv).field(scale.full_scale_ma);
    line_.field(scale.has_voltage ? "IV" : "I");
    if (sensor_.switches_fitted()) line_.more("S");
    if (sensor_.has_temperature()) line_.more("T");
    send();
  }

  void say_taken(const char* word) {
    line_.start('K').field(word);
    send();
  }

  void say_refused(const char* word, const char* reason) {
    line_.start('N').field(word).field(reason);
    send();
  }

  void send_sample() {
    Sample sample;
    if (!sensor_.next(sample)) return;
    const SensorScale& scale = sensor_.scale();
    if (samples_since_overrun_ < kSamplesBetweenOverruns) ++samples_since_overrun_;
    const bool over = sample.current >= scale.full_scale_counts || sample.current <= -scale.full_scale_counts;
    if (over_range_.rises(over, rate_hz_)) {
      over_range_untold_ = true;
      over_range_seq_ = sample.seq;
    }
    line_.start('D').field(static_cast<uint32_t>(sample.seq)).field(sample.micros).field_signed(sample.current);
    if (scale.has_voltage) line_.field_signed(sample.voltage);
    const uint8_t fitted = sensor_.switches_fitted();
    if (fitted) line_.field(static_cast<uint32_t>(fitted | sample.closed));
    if (sensor_.has_temperature()) add_temperature(sensor_.temperature());
    send();
  }

  void add_temperature(int16_t centidegrees) {
    if (centidegrees == kNotAnswering) {
      line_.field("x");
    } else {
      line_.field_signed(centidegrees);
    }
  }

  // --- faults: each told once when it begins ---

  bool tell_fault() {
    if (absent_.rises(!sensor_.answering(), 1)) {
      line_.start('F').field("sensor-absent").field(sensor_.absent_text());
    } else if (sensor_.was_reset()) {
      line_.start('F').field("sensor-reset").field("settings lost, written again");
    } else if (over_range_untold_) {
      over_range_untold_ = false;
      line_.start('F').field("over-range").field("from sample ").more(static_cast<uint32_t>(over_range_seq_));
    } else if (!tell_overrun()) {
      return false;
    }
    send();
    return true;
  }

  // Waits until the buffer has room again, so that telling of a loss doesn't make it worse; but not for ever.
  bool tell_overrun() {
    const uint32_t lost = sensor_.lost();
    if (lost == lost_told_) return false;
    if (sensor_.waiting() > kSlots / 2 && samples_since_overrun_ < kSamplesBetweenOverruns) return false;
    line_.start('F').field("overrun").field(lost - lost_told_).more(" samples lost");
    lost_told_ = lost;
    samples_since_overrun_ = 0;
    return true;
  }

  // --- from the PC ---

  bool hear() {
    while (port_.available() > 0) {
      if (!reader_.take(static_cast<char>(port_.read()))) continue;
      const Command command = parse_command(reader_.body());
      if (command.order == Order::none) continue;
      obey(command);
      return true;
    }
    return false;
  }

  void obey(const Command& command) {
    switch (command.order) {
      case Order::who:
        if (!running_ && !sensor_.answering()) probe_again();
        return say_who();
      case Order::rate:
        return change_rate(command.rate_hz);
      case Order::go:
        return go();
      case Order::halt:
        return halt();
      case Order::ping:
        return say_taken("ping");
      case Order::none:
        return;
    }
  }

  void probe_again() {
    absent_.rearm();
    sensor_.probe();
  }

  void change_rate(uint32_t hz) {
    const SensorScale& scale = sensor_.scale();
    const RateLimit limits[] = {
        {most_lines_a_second(about_.baud, scale.longest_line), "/s through this serial line"},
        {scale.most_hz, "/s from this sensor"},
        {about_.most_hz_of_board, "/s on this board"},
    };
    const RateLimit broken = broken_limit(hz, limits, sizeof limits / sizeof limits[0]);
    if (broken.because) {
      line_.start('N').field("rate").field("at most ").more(broken.most_hz).more(broken.because);
      return send();
    }
    rate_hz_ = static_cast<uint16_t>(hz);
    sensor_.set_rate(rate_hz_);
    say_taken("rate");
  }

  void go() {
    if (!running_) {
      if (!sensor_.answering()) probe_again();
      if (!sensor_.answering()) return say_refused("go", "sensor absent");
      over_range_.rearm();
      over_range_untold_ = false;
      lost_told_ = 0;
      sensor_.start();
      running_ = true;
    }
    say_taken("go");
  }

  // The one place that waits: what is still in the buffer goes out before the answer, at most kSlots lines.
  void halt() {
    sensor_.stop();
    running_ = false;
    while (sending() || sensor_.waiting() || sensor_.lost() != lost_told_ || over_range_untold_) {
      send_waiting_bytes();
      if (!sending() && !tell_fault()) send_sample();
    }
    say_taken("halt");
  }

  Port& port_;
  Sensor& sensor_;
  const About& about_;
  LineBuilder line_;
  LineReader reader_;
  Alarm absent_;
  Alarm over_range_;
  uint32_t lost_told_ = 0;
  uint16_t rate_hz_;
  uint16_t over_range_seq_ = 0;
  uint8_t sent_ = 0;
  uint8_t samples_since_overrun_ = kSamplesBetweenOverruns;
  bool over_range_untold_ = false;
  bool running_ = false;
};

}  // namespace throwbook
