"""The line protocol around emitted C: a `main` for the header and source of a plan.

Owns one rule: how a struct in base units is told, and filled. What no struct can hold (an optional value that is missing in
a field that is not optional) is never asked for.

>>> from packetcodec.wire import compile_plan
>>> from packetcodec.schema import Schema
>>> plan = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "gate"
... id = 2
... fields = [{ kind = "identifier" }, { kind = "flag", name = "open" }]
... '''))
>>> [line.strip() for line in harness_c(plan).splitlines() if "number(p->identifier" in line]
['number(p->identifier, 1);']
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.emit.c.names import LayoutNames, public_names, signed
from packetcodec.errors import STATUSES

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.wire import LayoutPlan, Plan


def harness_c(plan: Plan) -> str:
    """The source of a program that answers questions about a plan in base units, by its emitted C."""
    names = public_names(plan)
    own = list(zip(plan.layouts, names.layouts, strict=True))
    told = "\n".join("\n".join(_told(layout, name)) for layout, name in own)
    made = "\n".join("\n".join(_made(names.prefix, layout, name)) for layout, name in own)
    cases = "\n".join(f"    case {layout.id}: told{layout.id}(&packet->as.{name.member}); break;" for layout, name in own)
    verbs = "\n".join(f"    if (id == {layout.id}) {{ made{layout.id}(rest); return; }}" for layout, name in own)
    return (
        _C.replace("@PREFIX@", names.prefix)
        .replace("@UPPER@", names.prefix.upper())
        .replace("@STATUSES@", ", ".join(f'"{status}"' for status in STATUSES))
        .replace("@TOLD@", told)
        .replace("@MADE@", made)
        .replace("@CASES@", cases)
        .replace("@VERBS@", verbs)
    )


def _told(layout: LayoutPlan, own: LayoutNames) -> Iterator[str]:
    yield f"static void told{layout.id}(const {own.type} *p) {{"
    yield f'    printf("base {layout.id}");'
    for member, has in zip(own.members, own.has, strict=True):
        yield f"    number(p->{member}, {f'p->{has}' if has else 1});"
    if layout.trail:
        altitude = "number(p->trail[i].altitude_cm, p->trail[i].altitude_cm != UNKNOWN);"
        age = "number(p->trail[i].age_s, 1);"
        yield "    for (int i = 0; i < p->trail_count; i++) {"
        yield '        printf(" |");'
        yield "        number(p->trail[i].latitude_e7, 1); number(p->trail[i].longitude_e7, 1);"
        yield f"        {altitude if layout.trail.altitude_step else 'number(0, 0);'}"
        yield f"        {age if layout.trail.interval_seed else 'number(0, 0);'}"
        yield "    }"
    yield "}"


def _made(prefix: str, layout: LayoutPlan, own: LayoutNames) -> Iterator[str]:
    yield f"static void made{layout.id}(char *text) {{"
    yield f"    {own.type} p;"
    yield f"    uint8_t data[{layout.longest}];"
    yield "    size_t length = 0;"
    yield "    int known;"
    yield "    memset(&p, 0, sizeof p);"
    for field, member, has in zip(layout.fields, own.members, own.has, strict=True):
        yield f"    p.{member} = ({'int32_t' if signed(field) else 'uint32_t'})word(&text, &known);"
        yield f"    p.{has} = (uint8_t)known;" if has else "    (void)known;"
    if layout.trail:
        yield f"    while (point(&text) && p.trail_count < {layout.trail.points}) {{"
        yield "        p.trail[p.trail_count].latitude_e7 = (int32_t)word(&text, &known);"
        yield "        p.trail[p.trail_count].longitude_e7 = (int32_t)word(&text, &known);"
        if layout.trail.altitude_step:
            yield "        p.trail[p.trail_count].altitude_cm = (int32_t)word(&text, &known);"
            yield "        if (!known) p.trail[p.trail_count].altitude_cm = UNKNOWN;"
        else:
            yield "        word(&text, &known);"
        if layout.trail.interval_seed:
            yield "        p.trail[p.trail_count].age_s = (uint32_t)word(&text, &known);"
            yield "        if (!known) p.trail[p.trail_count].age_s = 0xffffffffUL;"
        else:
            yield "        word(&text, &known);"
        yield "        p.trail_count++;"
        yield "    }"
    yield f"    if ({own.encode}(&p, data, sizeof data, &length) != {prefix.upper()}_OK) {{"
    yield '        printf("refused");'
    yield "        return;"
    yield "    }"
    yield '    for (size_t i = 0; i < length; i++) printf("%02x", data[i]);'
    yield "}"


_C = """\
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include "@PREFIX@.h"

#ifdef @UPPER@_UNKNOWN
#define UNKNOWN @UPPER@_UNKNOWN
#else
#define UNKNOWN 0
#endif

static const char *const statuses[] = {@STATUSES@};
static @PREFIX@_packet held;
static int holding;

static void number(long long value, int known) {
    if (known) printf(" %lld", value); else printf(" -");
}

static long long word(char **text, int *known) {
    char *end;
    long long value;
    while (**text == ' ') (*text)++;
    *known = !(**text == '-' && ((*text)[1] == ' ' || !(*text)[1]));
    if (!*known) { (*text)++; return 0; }
    value = strtoll(*text, &end, 10);
    *text = end;
    return value;
}

static int point(char **text) {
    while (**text == ' ') (*text)++;
    if (**text != '|') return 0;
    (*text)++;
    return 1;
}

@TOLD@

@MADE@

static void told(const @PREFIX@_packet *packet) {
    switch (packet->layout) {
@CASES@
    }
}

static void decode(const char *hex) {
    size_t length = strlen(hex) / 2;
    uint8_t *data = malloc(length ? length : 1); /* exactly as long: a sanitizer sees every byte too far */
    @PREFIX@_fault fault;
    if (!data) exit(9);
    for (size_t i = 0; i < length; i++) {
        char pair[3] = {hex[2 * i], hex[2 * i + 1], 0};
        data[i] = (uint8_t)strtoul(pair, NULL, 16);
    }
    fault = @PREFIX@_decode(&held, data, length);
    free(data);
    if (fault) { printf("%s", statuses[fault]); return; }
    holding = 1;
    told(&held);
}

static void encode_base(char *rest) {
    long id = strtol(rest, &rest, 10);
@VERBS@
    printf("?");
}

static void answer(char *line) {
    if (!strncmp(line, "decode ", 7)) decode(line[7] == '-' ? "" : line + 7);
    else if (!strncmp(line, "encode_base ", 12)) encode_base(line + 12);
    else if (!strcmp(line, "held") && holding) told(&held);
    else printf("?");
    putchar('\\n');
}

int main(void) {
    static char text[1 << 16], out[1 << 16];
    size_t filled = 0;
    ssize_t got;
    setvbuf(stdout, out, _IOFBF, sizeof out);
    while ((got = read(0, text + filled, sizeof text - 1 - filled)) > 0) {
        char *line = text, *end;
        filled += (size_t)got;
        text[filled] = 0;
        while ((end = strchr(line, '\\n')) != NULL) {
            *end = 0;
            answer(line);
            line = end + 1;
        }
        fflush(stdout); /* all that has come is answered */
        filled -= (size_t)(line - text);
        memmove(text, line, filled);
    }
    return 0;
}
"""
