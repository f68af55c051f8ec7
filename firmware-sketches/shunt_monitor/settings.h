// What to change for your own board; see wiring.md.
#pragma once
#include <stdint.h>

const char kBoardId[] = "shunt-1";  // one of its own for each board: calibrations are kept under it
const uint32_t kBaud = 115200;
const uint16_t kStartRateHz = 200;

const uint8_t kInaAddress = 0x40;         // A0 and A1 of the sensor to ground
const uint32_t kShuntMicroOhm = 2000;     // the shunt between IN+ and IN-
const uint16_t kIna219RangeMillivolt = 80;  // INA219 only: 40, 80, 160 or 320. The INA226 always has 81.9 mV.
