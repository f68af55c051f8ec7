#include "script.h"

#include <stdio.h>
#include <stdlib.h>

typedef struct {
    double time_s;
    double volts[PINS];
} point_t;

enum { MOST_POINTS = 200000, MOST_EVENTS = 2000 };

static point_t points[MOST_POINTS];
static int point_count, current_point;
static event_t events[MOST_EVENTS];
static int event_count, next_event;

static void give_up(const char *path, int line) {
    fprintf(stderr, "%s, line %d: not a script line\n", path, line);
    exit(1);
}

void script_load(const char *path) {
    FILE *file = fopen(path, "r");
    char text[200];
    if (!file) give_up(path, 0);
    for (int line = 1; fgets(text, sizeof text, file); ++line) {
        point_t *point = &points[point_count];
        event_t *event = &events[event_count];
        if (point_count < MOST_POINTS &&
            sscanf(text, "wave %lf %lf %lf", &point->time_s, &point->volts[0], &point->volts[1]) == 3)
            ++point_count;
        else if (event_count < MOST_EVENTS &&
                 sscanf(text, "event %lf %23s %d", &event->time_s, event->name, &event->count) == 3)
            ++event_count;
        else
            give_up(path, line);
    }
    fclose(file);
    if (point_count < 2) give_up(path, 0);
}

double script_volts(int pin, double time_s) {
    while (current_point + 2 < point_count && points[current_point + 1].time_s <= time_s) ++current_point;
    const point_t *from = &points[current_point], *to = from + 1;
    double share = (time_s - from->time_s) / (to->time_s - from->time_s);
    if (share < 0) share = 0;
    if (share > 1) share = 1;
    return from->volts[pin] + share * (to->volts[pin] - from->volts[pin]);
}

const event_t *script_due(double time_s) {
    if (next_event == event_count || events[next_event].time_s > time_s) return NULL;
    return &events[next_event++];
}
