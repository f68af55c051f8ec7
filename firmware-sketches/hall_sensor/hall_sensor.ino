// Current of an actuator from an analog Hall sensor, and its supply voltage through a divider, to the Throwbook logger.
// Reads only: it can't move anything. No pin is an output, but for the pulses to a one-wire probe, where one is chosen.
// Settings: settings.h. Wiring: wiring.md.
#include "analog_hall.h"

namespace {

const throwbook::About kAbout = {kBoardId, "hall-2.0.0", kBaud, kStartRateHz, 800};

throwbook::AnalogHall sensor;
throwbook::Conversation<HardwareSerial, throwbook::AnalogHall> conversation(Serial, sensor, kAbout);

}  // namespace

ISR(TIMER1_COMPA_vect) { sensor.tick(); }
ISR(ADC_vect) { sensor.converted(static_cast<int16_t>(ADC)); }

void setup() {
  Serial.begin(kBaud);
  sensor.begin();
  conversation.power_up();
}

void loop() {
  conversation.step();
  sensor.talk_to_probe();
}
