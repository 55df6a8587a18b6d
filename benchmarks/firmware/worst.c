/* On an ATmega328P: clock cycles to encode a full trail of points that lie at random within SPREAD of the packet's position, and the
 * bytes of the packet, printed through the UART. */
#include "pasture_packets.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

static pasture_track record;
static uint8_t data[PASTURE_TRACK_BYTES];
static volatile uint16_t high;
static uint32_t seed = 1;

ISR(TIMER1_OVF_vect)
{
    high++;
}

static int32_t away(void)
{
    seed = seed * 1103515245UL + 12345;
    return (int32_t)((seed >> 16) * 997UL % SPREAD) - SPREAD / 2;
}

static void print(uint32_t x)
{
    char digits[11];
    uint8_t n = 0;
    do digits[n++] = (char)('0' + x % 10); while (x /= 10);
    while (n) UDR0 = (uint8_t)digits[--n];
    UDR0 = ' ';
}

int main(void)
{
    uint32_t cycles;
    size_t length = 0;
    uint16_t low;
    uint8_t i;
    UCSR0B = 1 << TXEN0;
    TCCR1B = 1;
    TIMSK1 = 1;
    sei();
    record.latitude_e7 = 465000000;
    record.longitude_e7 = 98000000;
    record.trail_count = PASTURE_TRACK_POINTS;
    for (i = 0; i < PASTURE_TRACK_POINTS; i++) {
        record.trail[i].latitude_e7 = record.latitude_e7 + away();
        record.trail[i].longitude_e7 = record.longitude_e7 + away();
    }
    low = TCNT1;
    cycles = (uint32_t)high << 16 | low;
    pasture_encode_track(&record, data, sizeof data, &length, NULL);
    low = TCNT1;
    cycles = ((uint32_t)high << 16 | low) - cycles;
    print(cycles);
    print(length);
    UDR0 = '\n';
    cli();
    sleep_mode();
    for (;;) {
    }
}
