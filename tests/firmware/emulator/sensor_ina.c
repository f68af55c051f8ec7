/* An emulated INA219 or INA226 on the I2C bus: registers, scaling and range of the data sheets SBOS448 and SBOS547.
 * Its numbers are written out here on purpose, apart from those of the firmware that is under test. */
#include <math.h>
#include <simavr/avr_twi.h>
#include <stdint.h>
#include <string.h>

#include "host.h"
#include "script.h"

enum { ADDRESS = 0x40, CONFIG = 0, SHUNT = 1, BUS = 2, CALIBRATION = 5, MAKER = 0xFE, DIE = 0xFF };

static avr_irq_t *bus_irq;
static int ina226, present = 1;
static int refuse_pointers, refuse_reads; /* how many more to answer with NACK */
static uint16_t config, calibration;
static uint8_t pointer, selected, bytes_seen, written[3];
static uint16_t answer;

static void power_up(void) {
    config = ina226 ? 0x4127 : 0x399F;
    calibration = 0;
    pointer = 0;
}

static long within(long value, long largest) {
    return value > largest ? largest : value < -largest ? -largest : value;
}

static uint16_t shunt_register(void) {
    double volts = script_volts(FIRST_PIN, script_time_s());
    if (ina226) return (uint16_t)within(lround(volts / 2.5e-6), 32767);
    long range_mv = 40L << (config >> 11 & 3);
    return (uint16_t)within(lround(volts / 10e-6), range_mv * 100);
}

static uint16_t bus_register(void) {
    double volts = script_volts(SECOND_PIN, script_time_s());
    if (volts < 0) volts = 0;
    return ina226 ? (uint16_t)lround(volts / 1.25e-3) : (uint16_t)(lround(volts / 4e-3) << 3 | 2);
}

static uint16_t register_value(uint8_t which) {
    switch (which) {
        case CONFIG: return config;
        case SHUNT: return shunt_register();
        case BUS: return bus_register();
        case CALIBRATION: return calibration;
        case MAKER: return ina226 ? 0x5449 : 0;
        case DIE: return ina226 ? 0x2260 : 0;
        default: return 0;
    }
}

static void write_register(uint8_t which, uint16_t value) {
    if (which == CONFIG) config = value;
    if (which == CALIBRATION) calibration = value;
    fprintf(record, "write %.6f %d %d\n", board_time_s(), which, value);
}

static void say(int kind, int data) {
    avr_raise_irq(bus_irq + TWI_IRQ_INPUT, avr_twi_irq_msg(kind, selected, data));
}

static void start(uint8_t address_and_direction) {
    int reading = address_and_direction & 1;
    selected = 0;
    if (!present || address_and_direction >> 1 != ADDRESS) return;
    if (reading && refuse_reads > 0) {
        --refuse_reads;
        return;
    }
    selected = address_and_direction;
    bytes_seen = 0;
    if (reading) {
        answer = register_value(pointer);
        fprintf(record, "read %.6f %d %d\n", board_time_s(), pointer, answer);
    }
    say(TWI_COND_ACK, 1);
}

static void take_byte(uint8_t byte) {
    if (refuse_pointers > 0 && bytes_seen == 0) {
        --refuse_pointers;
        say(TWI_COND_ACK, 0);
        selected = 0;
        return;
    }
    say(TWI_COND_ACK, 1);
    if (bytes_seen < 3) written[bytes_seen] = byte;
    ++bytes_seen;
    if (bytes_seen == 1) pointer = byte;
    if (bytes_seen == 3) write_register(pointer, (uint16_t)(written[1] << 8 | written[2]));
}

static void on_bus(avr_irq_t *irq, uint32_t value, void *unused) {
    (void)irq, (void)unused;
    avr_twi_msg_irq_t message = {.u.v = value};
    int kind = message.u.twi.msg;
    if (kind & TWI_COND_STOP) selected = 0;
    if (kind & TWI_COND_START) start(message.u.twi.addr);
    if (!selected) return;
    if (kind & TWI_COND_WRITE) take_byte(message.u.twi.data);
    if (kind & TWI_COND_READ) say(TWI_COND_READ, bytes_seen++ ? answer & 255 : answer >> 8);
}

void ina_attach(int is_ina226) {
    ina226 = is_ina226;
    power_up();
    bus_irq = avr_io_getirq(board, AVR_IOCTL_TWI_GETIRQ(0), 0);
    avr_irq_register_notify(bus_irq + TWI_IRQ_OUTPUT, on_bus, NULL);
}

void ina_event(const char *name, int count) {
    if (!strcmp(name, "sensor-off")) present = 0;
    if (!strcmp(name, "sensor-on")) present = 1, power_up();
    if (!strcmp(name, "sensor-reset")) power_up();
    if (!strcmp(name, "refuse-pointers")) refuse_pointers = count;
    if (!strcmp(name, "refuse-reads")) refuse_reads = count;
}
