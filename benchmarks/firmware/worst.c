/* On an ATmega1284P, whose instructions take as many cycles as an ATmega328P's: stack and clock cycles of encoding and of
 * decoding each record, printed through the UART. A line: stack to encode, cycles, bytes, stack to decode, cycles, fault.
 * Stack is that below the caller, return addresses included, interrupts not. */
#include "plan.h" /* RECORD, ENCODE, PACKET, DECODE, records[] in flash */
#include "clock.h"

#include <string.h>

extern uint8_t _end;
static uint8_t data[256];
static RECORD record;
static PACKET packet;
static size_t length;
static uint8_t fault;
#if defined REFERENCE
static REFERENCE reference;
#endif

static __attribute__((noinline)) void encode(void)
{
    fault = (uint8_t)ENCODE(&record, data, sizeof data, &length, NULL);
}

static __attribute__((noinline)) void decode(void)
{
#if defined REFERENCE
    fault |= (uint8_t)DECODE(&packet, data, length, &reference, NULL);
#else
    fault |= (uint8_t)DECODE(&packet, data, length, NULL);
#endif
}

static void measure(void (*run)(void))
{
    uint8_t *p = &_end, *const top = (uint8_t *)SP;
    uint32_t start;
    cli();
    while (p < top) *p++ = 0xa5;
    run();
    sei();
    for (p = &_end; p < top && *p == 0xa5; p++) {
    }
    print((uint32_t)(top - p));
    start = now();
    run();
    print(now() - start);
}

int main(void)
{
    uint16_t i;
    UCSR0B = 1 << TXEN0;
    TCCR1B = 1;
    TIMSK1 = 1;
    for (i = 0; i < sizeof records / sizeof *records; i++) {
        memcpy_P(&record, &records[i], sizeof record);
#if defined REFERENCE
        memcpy_P(&reference, &references[i], sizeof reference);
#endif
        measure(encode);
        print(length);
        measure(decode);
        print(fault);
        UDR0 = '\n';
    }
    cli();
    sleep_mode();
    for (;;) {
    }
}
