/* What the parts of the host share. */
#pragma once
#include <simavr/sim_avr.h>
#include <stdio.h>

extern avr_t *board;
extern FILE *record; /* what really happened, one line each, for the tests to compare with */

double board_time_s(void);  /* since power-up */
double script_time_s(void); /* since the sketch first sampled */

/* sensor_ina.c: an INA219 or INA226 at address 0x40 whose shunt sits on the script's first pin, the bus on the second */
void ina_attach(int is_ina226);
void ina_event(const char *name, int count);

/* sensor_one_wire.c: a DS18B20 on digital pin 4; it answers a sketch that talks to it */
void one_wire_attach(void);
int one_wire_event(const char *name, int count); /* whether it is one of its own */

/* serial_pty.c: the board's serial port as a pseudo-terminal */
void serial_attach(void);
