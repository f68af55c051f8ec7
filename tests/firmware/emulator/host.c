/* Runs a compiled sketch on an emulated ATmega328P with a scripted sensor, its serial port on a pseudo-terminal.
 *
 *   host SKETCH.elf analog|ina219|ina226 SECONDS flat-out|real-time SCRIPT RECORD
 *
 * Until the sketch first samples the board runs in real time and the script's clock stands at 0, so that nothing hangs
 * on how long the PC took to ask for samples. Then SECONDS of the script are run; without any samples it ends after
 * PATIENCE_S. It prints `port /dev/...`, waits for a line on stdin (the reader has the port
 * open), runs, prints `done`, and keeps the port open until stdin gives another line or ends: what the reader hasn't
 * read when a pseudo-terminal closes is lost. RECORD gets what really happened:
 *   read TIME REGISTER VALUE · write TIME REGISTER VALUE · convert TIME CHANNEL MILLIVOLT
 *   began TIME 0                the script's clock began to run; all times here are the board's own
 *   output TIME PORT PINS       a pin was made an output (there must be none)
 *                               (only the pulses to a one-wire probe, where one is chosen)
 *   low TIME PIN CYCLES         such a pulse, at its end
 *   stack LOWEST                the lowest address the stack came to
 *   masked CYCLES               the longest that interrupts were off in one go while it sampled */
#include "host.h"

#include <math.h>
#include <signal.h>
#include <simavr/avr_adc.h>
#include <simavr/avr_ioport.h>
#include <simavr/sim_elf.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "script.h"

enum { LEFT_SWITCH_PIN = 2, RIGHT_SWITCH_PIN = 3, THERMISTOR_PIN = 2 }; /* D2, D3, A2 */
enum { CLOCK_HZ = 16000000, SUPPLY_MV = 5000, PATIENCE_S = 20, INSTRUCTIONS_PER_LOOK = 256 };
enum { PORTD = 0x2B, SPL = 0x5D, SPH = 0x5E, TIMSK1 = 0x6F, OCIE1A = 2 };

avr_t *board;
FILE *record;

static const char *sensor;
static double began_s = -1;
static int closed_pins; /* a bit each */
static int thermistor_mv = SUPPLY_MV; /* no thermistor: the resistor pulls the input up */

double board_time_s(void) { return (double)board->cycle / CLOCK_HZ; }

double script_time_s(void) { return began_s < 0 ? 0 : board_time_s() - began_s; }

static void begin_script_once_sampling(void) {
    if (began_s >= 0 || !(board->data[TIMSK1] & OCIE1A)) return;
    began_s = board_time_s();
    fprintf(record, "began %.6f 0\n", began_s);
}

static int over(double seconds) {
    return began_s < 0 ? board_time_s() >= PATIENCE_S : script_time_s() >= seconds;
}

/* A conversion begins: the pins get their value of this moment, in the emulator's whole millivolts. */
static void on_conversion(avr_irq_t *irq, uint32_t value, void *unused) {
    (void)irq, (void)unused;
    union { uint32_t value; avr_adc_mux_t mux; } what = {.value = value};
    avr_raise_irq(avr_io_getirq(board, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0 + THERMISTOR_PIN), (uint32_t)thermistor_mv);
    for (int pin = 0; pin < PINS && !strcmp(sensor, "analog"); ++pin) {
        long millivolt = lround(1000 * script_volts(pin, script_time_s()));
        avr_raise_irq(avr_io_getirq(board, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0 + pin), (uint32_t)millivolt);
        if (pin == (int)what.mux.src) fprintf(record, "convert %.6f %d %ld\n", board_time_s(), pin, millivolt);
    }
}

static void show_switches(void) {
    for (int pin = LEFT_SWITCH_PIN; pin <= RIGHT_SWITCH_PIN; ++pin) {
        int pulled_up = board->data[PORTD] >> pin & 1;
        avr_raise_irq(avr_io_getirq(board, AVR_IOCTL_IOPORT_GETIRQ('D'), pin), !(closed_pins >> pin & 1) && pulled_up);
    }
}

static avr_cycle_count_t show_switches_again(avr_t *avr, avr_cycle_count_t when, void *unused) {
    (void)avr, (void)when, (void)unused;
    show_switches();
    return 0;
}

/* The emulator then shows every input with a pull-up as high, whatever holds it: the switches are shown anew. */
static void on_direction(avr_irq_t *irq, uint32_t pins, void *port) {
    (void)irq;
    if (closed_pins) avr_cycle_timer_register(board, 1, show_switches_again, NULL);
    if (pins) fprintf(record, "output %.6f %s %u\n", board_time_s(), (const char *)port, pins);
}

static void never_sleep(avr_t *avr, avr_cycle_count_t how_long) { (void)avr, (void)how_long; }

static void make_board(const char *elf) {
    static elf_firmware_t firmware;
    if (elf_read_firmware(elf, &firmware)) exit(1);
    board = avr_make_mcu_by_name("atmega328p");
    avr_init(board);
    avr_load_firmware(board, &firmware);
    board->frequency = CLOCK_HZ;
    board->vcc = board->avcc = board->aref = SUPPLY_MV;
    board->log = LOG_ERROR;
    board->sleep = never_sleep;
    static const char *const ports[] = {"B", "C", "D"};
    for (int i = 0; i < 3; ++i)
        avr_irq_register_notify(avr_io_getirq(board, AVR_IOCTL_IOPORT_GETIRQ(ports[i][0]), IOPORT_IRQ_DIRECTION_ALL),
                                on_direction, (void *)ports[i]);
}

static void attach_sensor(void) {
    avr_irq_register_notify(avr_io_getirq(board, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), on_conversion, NULL);
    if (!strcmp(sensor, "analog")) return;
    if (!strcmp(sensor, "ina219") || !strcmp(sensor, "ina226"))
        ina_attach(!strcmp(sensor, "ina226"));
    else {
        fprintf(stderr, "no sensor is called %s: analog, ina219 or ina226\n", sensor);
        exit(1);
    }
}

/* A closed switch holds its input at ground; an open one, or a broken wire, leaves it to the chip's pull-up. */
static void turn_switch(int pin, int closed) {
    closed_pins = closed ? closed_pins | 1 << pin : closed_pins & ~(1 << pin);
    show_switches();
}

static void happen(const event_t *event) {
    fprintf(record, "event %.6f %s %d\n", board_time_s(), event->name, event->count);
    if (!strcmp(event->name, "board-reset"))
        avr_reset(board);
    else if (!strcmp(event->name, "left-switch"))
        turn_switch(LEFT_SWITCH_PIN, event->count);
    else if (!strcmp(event->name, "right-switch"))
        turn_switch(RIGHT_SWITCH_PIN, event->count);
    else if (!strcmp(event->name, "thermistor-mv"))
        thermistor_mv = event->count;
    else if (!one_wire_event(event->name, event->count))
        ina_event(event->name, event->count);
}

static double wall_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return now.tv_sec + now.tv_nsec * 1e-9;
}

static void keep_pace(double started_s) {
    double ahead_s = board_time_s() - (wall_s() - started_s);
    if (ahead_s > 0.001) usleep((useconds_t)(ahead_s * 1e6));
}

/* The stack pointer starts at 0, before the sketch sets it. */
static int stack_pointer(void) { return board->data[SPH] << 8 | board->data[SPL]; }

static int run(double seconds, int flat_out) {
    double started_s = wall_s();
    int lowest = 0x8FF;
    avr_cycle_count_t masked_since = 0, masked = 0;
    for (unsigned count = 1; !over(seconds); ++count) {
        int state = avr_run(board);
        if (state == cpu_Done || state == cpu_Crashed) return 2;
        int pointer = stack_pointer();
        if (pointer > 0x100 && pointer < lowest) lowest = pointer;
        if (began_s < 0 || board->sreg[S_I]) masked_since = board->cycle;
        if (board->cycle - masked_since > masked) masked = board->cycle - masked_since;
        if (count % INSTRUCTIONS_PER_LOOK) continue;
        begin_script_once_sampling();
        for (const event_t *event; (event = script_due(script_time_s()));) happen(event);
        if (began_s < 0 || !flat_out) keep_pace(started_s);
    }
    fprintf(record, "stack %d\nmasked %d\n", lowest, (int)masked);
    return 0;
}

int main(int count, char **words) {
    if (count != 7) {
        fprintf(stderr, "host SKETCH.elf analog|ina219|ina226 SECONDS flat-out|real-time SCRIPT RECORD\n");
        return 1;
    }
    sensor = words[2];
    script_load(words[5]);
    record = fopen(words[6], "w");
    if (!record) return 1;
    make_board(words[1]);
    attach_sensor();
    one_wire_attach();
    serial_attach();
    if (getchar() == EOF) return 0;
    int failed = run(atof(words[3]), !strcmp(words[4], "flat-out"));
    fclose(record);
    printf("done\n");
    fflush(stdout);
    getchar();
    return failed;
}
