/* A clock of all cycles, and a way to print, for an ATmega in a simulator. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <stdint.h>

static volatile uint16_t high;

ISR(TIMER1_OVF_vect)
{
    high++;
}

static void print(uint32_t x)
{
    char digits[11];
    uint8_t n = 0;
    do digits[n++] = (char)('0' + x % 10); while (x /= 10);
    while (n) UDR0 = (uint8_t)digits[--n];
    UDR0 = ' ';
}

static uint32_t now(void) /* at one moment: an overflow that is not counted yet counts */
{
    uint16_t low, over;
    cli();
    low = TCNT1;
    over = (uint16_t)(high + ((TIFR1 & 1 << TOV1) && low < 0x8000));
    sei();
    return (uint32_t)over << 16 | low;
}
