/* The board's serial port as a pseudo-terminal, at the pace of a real one in both directions. */
#define _GNU_SOURCE
#include <fcntl.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_time.h>
#include <stdint.h>
#include <stdlib.h>
#include <termios.h>
#include <unistd.h>

#include "host.h"

enum { BYTE_TIME_US = 120 }; /* 10 bits at 115200 baud take 87; nearer to it the emulator loses bytes */

static int terminal;

static void from_board(avr_irq_t *irq, uint32_t value, void *unused) {
    (void)irq, (void)unused;
    uint8_t byte = (uint8_t)value;
    while (write(terminal, &byte, 1) < 0) usleep(200); /* full: the reader is slower than the simulation */
}

static avr_cycle_count_t to_board(avr_t *avr, avr_cycle_count_t when, void *unused) {
    (void)unused;
    uint8_t byte;
    if (read(terminal, &byte, 1) == 1)
        avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT), byte);
    return when + avr_usec_to_cycles(avr, BYTE_TIME_US);
}

void serial_attach(void) {
    uint32_t flags = 0; /* no echo to stdout, no sleeping while the board polls */
    avr_ioctl(board, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    terminal = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
    if (terminal < 0 || grantpt(terminal) || unlockpt(terminal)) {
        perror("pseudo-terminal");
        exit(1);
    }
    struct termios settings;
    tcgetattr(terminal, &settings);
    cfmakeraw(&settings); /* no echo, no translation of line ends */
    tcsetattr(terminal, TCSANOW, &settings);
    avr_irq_register_notify(avr_io_getirq(board, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), from_board, NULL);
    avr_cycle_timer_register_usec(board, BYTE_TIME_US, to_board, NULL);
    printf("port %s\n", ptsname(terminal));
    fflush(stdout);
}
