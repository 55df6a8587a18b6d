/* A board with an ATmega in a simulator, its serial port on stdin and stdout: board ELF MCU BAUD MS. Bytes come in nearly
 * at the speed of the port, lines MS milliseconds apart; it ends when all came in and nothing went out for two seconds of
 * the board's time. */
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>

static avr_t *avr;
static avr_cycle_count_t spoke;

static void heard(struct avr_irq_t *irq, uint32_t value, void *unused)
{
    (void)irq;
    (void)unused;
    putchar((int)value);
    spoke = avr->cycle;
}

static void unsaid(avr_t *board, const int level, const char *format, va_list rest)
{
    (void)board;
    (void)level;
    (void)format;
    (void)rest;
}

int main(int count, char **arguments)
{
    elf_firmware_t firmware = {0};
    avr_cycle_count_t next, pause, between;
    avr_irq_t *in;
    uint32_t flags = 0;
    int c = 0, state = cpu_Running;

    avr_global_logger_set(unsaid); /* it would say on stdout what it loads */
    if (count != 5 || elf_read_firmware(arguments[1], &firmware) != 0 || !(avr = avr_make_mcu_by_name(arguments[2])))
        return 2;
    avr_init(avr);
    avr->frequency = 16000000;
    avr_load_firmware(avr, &firmware);
    avr_ioctl(avr, AVR_IOCTL_UART_GET_FLAGS('0'), &flags);
    flags &= ~(uint32_t)(AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP);
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), heard, NULL);
    in = avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT);
    pause = avr->frequency * 11u / (avr_cycle_count_t)atol(arguments[3]);
    between = pause + avr->frequency / 1000u * (avr_cycle_count_t)atol(arguments[4]);
    next = avr->frequency / 10; /* the board is up by then */
    while (state != cpu_Done && state != cpu_Crashed) {
        state = avr_run(avr);
        if (avr->cycle < next)
            continue;
        next += c == '\n' ? between : pause;
        if (c != EOF && (c = getchar()) != EOF)
            avr_raise_irq(in, (uint32_t)c);
        if (c != EOF)
            spoke = avr->cycle;
        else if (avr->cycle > spoke + 2 * avr->frequency)
            return 0;
    }
    return 1;
}
