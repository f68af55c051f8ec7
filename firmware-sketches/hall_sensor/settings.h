// What to change for your own board; see wiring.md.
#pragma once
#include <stdint.h>

const char kBoardId[] = "hall-1";  // one of its own for each board: calibrations are kept under it
const uint32_t kBaud = 115200;
const uint16_t kStartRateHz = 200;

const uint8_t kCurrentChannel = 0;  // A0
const uint8_t kVoltageChannel = 1;  // A1
const bool kHasVoltage = true;      // false: no divider fitted

const uint16_t kMillivoltPerAmp = 100;     // data sheet, at 5 V: 185 (5 A type), 100 (20 A type), 66 (30 A type)
const uint32_t kFullScaleMilliamp = 20000;  // the sensor's rated range, either way

const uint16_t kSupplyMillivolt = 5000;  // the board's own 5 V as measured: the voltage channel depends on it
const uint32_t kDividerTopOhm = 47000;
const uint32_t kDividerBottomOhm = 10000;

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
