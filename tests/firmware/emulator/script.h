/* What happens at the sensor's pins, and what goes wrong, over simulated time. */
#pragma once

enum { FIRST_PIN, SECOND_PIN, PINS };

typedef struct {
    double time_s;
    char name[24];
    int count;
} event_t;

/* Reads a script; exits with a message if it can't. Lines, each kind in order of time:
 *   wave  TIME_S FIRST_V SECOND_V     straight lines between; held before the first and after the last
 *   event TIME_S NAME COUNT */
void script_load(const char *path);

/* Volts at a pin. Calls must go forward in time. */
double script_volts(int pin, double time_s);

/* The next event that is due, each once; null: none. */
const event_t *script_due(double time_s);
