#include <stdio.h>
#include <string.h>
#include "gate_decoder.h"

int main(void)
{
    char line[4096];
    while (fgets(line, sizeof line, stdin)) {
        struct gate gate; unsigned char data[2048]; unsigned n = 0; const char *status = "?";
        if (!strncmp(line, "decode ", 7)) {
            while (sscanf(line + 7 + 2 * n, "%2hhx", &data[n]) == 1) n++;
            status = gate_decode(&gate, data, n);
        }
        if (strcmp(status, "ok")) puts(status);
        else printf("ok 2 %u %u %u %u\n", gate.collar, gate.temperature, gate.activity, gate.open);
        fflush(stdout);
    }
    return 0;
}
