// What to change for your own board; see wiring.md.
#pragma once
#include <stdint.h>

const char kBoardId[] = "shunt-1";  // one of its own for each board: calibrations are kept under it
const uint32_t kBaud = 115200;
const uint16_t kStartRateHz = 200;

const uint8_t kInaAddress = 0x40;         // A0 and A1 of the sensor to ground
const uint32_t kShuntMicroOhm = 2000;     // the shunt between IN+ and IN-
const uint16_t kIna219RangeMillivolt = 80;  // INA219 only: 40, 80, 160 or 320. The INA226 always has 81.9 mV.

const bool kLeftSwitchFitted = false;   // a switch at the left pin, from D2 to ground
const bool kRightSwitchFitted = false;  // a switch at the right pin, from D3 to ground
const uint8_t kLeftSwitchPin = 2;
const uint8_t kRightSwitchPin = 3;

const bool kTemperatureFitted = false;  // a thermistor from A2 to ground, and a resistor from A2 to the board's 5 V
const bool kTemperatureIsOneWire = false;  // true: a one-wire probe (DS18B20 type) in place of the thermistor
const uint8_t kOneWirePin = 4;             // D4
const uint8_t kTemperatureChannel = 2;  // A2
const uint16_t kThermistorOhmAt25 = 10000;
const uint16_t kThermistorBeta = 3950;  // [K], data sheet
const uint16_t kThermistorSeriesOhm = 10000;
