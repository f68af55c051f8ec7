// Current and supply voltage of an actuator from an INA219 or INA226 kind of shunt monitor, to the Throwbook logger.
// Reads only: it can't move anything. No pin is an output, but for the pulses to a one-wire probe, where one is chosen.
// Settings: settings.h. Wiring: wiring.md.
#include "i2c_shunt.h"

namespace {

const throwbook::About kAbout = {kBoardId, "shunt-2.0.0", kBaud, kStartRateHz, 600};

throwbook::I2cShunt sensor;
throwbook::Conversation<HardwareSerial, throwbook::I2cShunt> conversation(Serial, sensor, kAbout);

}  // namespace

ISR(TIMER1_COMPA_vect) { sensor.tick(); }

void setup() {
  Serial.begin(kBaud);
  sensor.begin();
  conversation.power_up();
}

void loop() {
  sensor.read_temperature();
  sensor.read_if_due();
  conversation.step();
  sensor.talk_to_probe();
}
