/* An emulated DS18B20 on digital pin 4, with a resistor that pulls the line up: times, commands and scratchpad of its data sheet.
 * Its numbers are written out here on purpose, apart from those of the firmware that is under test. */
#include <simavr/avr_ioport.h>
#include <stdint.h>
#include <string.h>

#include "host.h"

enum { PIN = 4, US = 16 };
enum { RESET_US = 480, ANSWERS_AFTER_US = 30, ANSWERS_US = 120, HOLDS_US = 30, ONE_US = 15, CONVERTS_US = 700000 };
enum { SKIP_ROM = 0xCC, WRITE = 0x4E, CONVERT = 0x44, READ = 0xBE };

static int present = 1, shorted, flip = -1, sixteenths;
static int pulled, probe_low;
static avr_cycle_count_t fell, done;
static uint8_t scratchpad[9], heard, bits, order, written;
static int addressed, converting, sent;

static void check(void) {
    int rest = 0; /* a shift register, bit by bit: x^8 + x^5 + x^4 + 1 */
    for (int n = 0; n < 64; ++n) {
        int feed = (scratchpad[n / 8] >> n % 8 & 1) ^ (rest & 1);
        rest >>= 1;
        if (feed) rest ^= 1 << 7 | 1 << 3 | 1 << 2;
    }
    scratchpad[8] = (uint8_t)rest;
}

static void power_on(void) {
    static const uint8_t fresh[9] = {0x50, 0x05, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10};
    memcpy(scratchpad, fresh, sizeof scratchpad);
    check();
    addressed = converting = order = 0;
}

static void show_level(void) {
    avr_raise_irq(avr_io_getirq(board, AVR_IOCTL_IOPORT_GETIRQ('D'), PIN), !pulled && !shorted && !(present && probe_low));
}

static avr_cycle_count_t pull(avr_t *avr, avr_cycle_count_t when, void *unused) {
    (void)avr, (void)when, (void)unused;
    probe_low = 1;
    show_level();
    return 0;
}

static avr_cycle_count_t let_go(avr_t *avr, avr_cycle_count_t when, void *unused) {
    (void)avr, (void)when, (void)unused;
    probe_low = 0;
    show_level();
    return 0;
}

static int bit_to_send(void) {
    if (order == CONVERT) {
        if (converting && board->cycle >= done) {
            converting = 0;
            scratchpad[0] = (uint8_t)(sixteenths & 255);
            scratchpad[1] = (uint8_t)(sixteenths >> 8 & 255);
            check();
        }
        return !converting;
    }
    if (order != READ || sent >= 72) return 1;
    return (scratchpad[sent / 8] >> sent % 8 & 1) ^ (sent == flip);
}

static void take(uint8_t byte) {
    if (!addressed) {
        addressed = byte == SKIP_ROM;
    } else if (!order) {
        order = byte;
        sent = written = 0;
        converting = order == CONVERT;
        done = board->cycle + (avr_cycle_count_t)CONVERTS_US * US;
    } else if (order == WRITE && written < 3) {
        scratchpad[2 + written++] = byte;
        check();
    }
}

static void on_fall(void) {
    fell = board->cycle;
    if ((order != CONVERT && order != READ) || bit_to_send()) return;
    probe_low = 1;
    avr_cycle_timer_register(board, HOLDS_US * US, let_go, NULL);
}

static void on_rise(void) {
    avr_cycle_count_t low = board->cycle - fell;
    fprintf(record, "low %.6f %d %d\n", board_time_s(), PIN, (int)low);
    if (low >= RESET_US * US) {
        addressed = order = heard = bits = probe_low = 0;
        avr_cycle_timer_register(board, ANSWERS_AFTER_US * US, pull, NULL);
        avr_cycle_timer_register(board, (ANSWERS_AFTER_US + ANSWERS_US) * US, let_go, NULL);
    } else if (order == CONVERT || order == READ) {
        ++sent;
    } else {
        heard = (uint8_t)(heard >> 1 | (low <= ONE_US * US ? 0x80 : 0));
        if (++bits % 8 == 0) take(heard);
    }
}

static void on_direction(avr_irq_t *irq, uint32_t pins, void *unused) {
    (void)irq, (void)unused;
    int low = pins >> PIN & 1;
    if (low == pulled) return;
    pulled = low;
    if (low)
        on_fall();
    else
        on_rise();
    show_level();
}

void one_wire_attach(void) {
    power_on();
    avr_irq_register_notify(avr_io_getirq(board, AVR_IOCTL_IOPORT_GETIRQ('D'), IOPORT_IRQ_DIRECTION_ALL), on_direction, NULL);
    show_level();
}

int one_wire_event(const char *name, int count) {
    if (strncmp(name, "probe-", 6)) return 0;
    if (!strcmp(name, "probe-sixteenths")) sixteenths = count;
    if (!strcmp(name, "probe-present")) present = count;
    if (!strcmp(name, "probe-shorted")) shorted = count;
    if (!strcmp(name, "probe-flip")) flip = count;
    if (!strcmp(name, "probe-power-loss")) power_on();
    show_level();
    return 1;
}
