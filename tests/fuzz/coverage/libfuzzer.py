"""A libFuzzer target for the emitted C of a plan, as source.

It decodes whatever comes; a fault must leave the caller's packet as it was; a good packet is encoded again, and without a
trail gives the very same bytes, with one a packet that is good. Half of its mutations get a good check, so that the fuzzer
passes it (of packets with low bits only where what is not sent is 0). The references of a packet stand before it, as in the
corpus.
"""

from packetcodec.emit.c.names import c_plan


def libfuzzer_source(plan):
    names = c_plan(plan)
    cases = "\n".join(
        f"    case {own.plan.id}: fault = {own.encode}(&packet.as.{own.member}, again, sizeof again, &length, NULL); "
        f"exact = {int(own.plan.trail is None)}; break;"
        for own in names.layouts
    )
    crc = plan.crc
    seal = "    (void)data; (void)size;"
    if crc:
        turned, polynomial = crc.as_run(plan.seed), crc.as_run(crc.polynomial)
        width, mask = crc.width, (1 << crc.width) - 1
        step = (
            f"state = state & 1 ? state >> 1 ^ {polynomial}UL : state >> 1;"
            if crc.reflected
            else f"state = (state >> {width - 1} & 1 ? state << 1 ^ {polynomial}UL : state << 1) & {mask}UL;"
        )
        enter = "state ^= data[i];" if crc.reflected else f"state ^= (unsigned long)data[i] << {width - 8};"
        places = range(0, width, 8) if crc.reflected else range(width - 8, -1, -8)
        put = "\n".join(f"    data[size++] = (uint8_t)(state >> {place});" for place in places)
        seal = f"""    unsigned long state = {turned}UL;
    if (size < {crc.size}) return size;
    size -= {crc.size};
    for (size_t i = 0; i < size; i++) {{
        {enter}
        for (int bit = 0; bit < 8; bit++) {{ {step} }}
    }}
    state ^= {crc.xor_out}UL;
{put}"""
    known = "".join(_KNOWN.format(member=member.name, has=has, type=names.reference_type(member),
                                  high="INT32_MAX" if names.reference_type(member) == "int32_t" else "UINT32_MAX",
                                  low="INT32_MIN" if names.reference_type(member) == "int32_t" else "0")
                    for member, has in names.references)  # fmt: skip
    given = "&reference, " if known else ""
    reference = f"    {names.prefix}_reference reference;\n" if known else ""
    return (
        _TARGET.replace("@REFERENCE@\n", reference)
        .replace("@KNOWN@\n", "    memset(&reference, 0, sizeof reference);\n" + known if known else "")
        .replace("@GIVEN@", given)
        .replace("@BEFORE@", str(8 * len(names.references)))
        .replace("@PREFIX@", names.prefix)
        .replace("@UPPER@", names.prefix.upper())
        .replace("@CASES@", cases)
        .replace("@SEAL@", seal)
    )


#: Takes one reference from before the packet, where the structure of C can hold it.
_KNOWN = """\
    if (size >= 8) {{
        uint64_t bits = 0;
        for (int i = 0; i < 8; i++) bits = bits << 8 | data[i];
        data += 8;
        size -= 8;
        if ((int64_t)bits >= {low} && (int64_t)bits <= (int64_t){high}) {{
            reference.{member} = ({type})(int64_t)bits;
            reference.{has} = 1;
        }}
    }}
"""

_TARGET = """\
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "@PREFIX@_packets.h"

size_t LLVMFuzzerMutate(uint8_t *data, size_t size, size_t most);

static size_t sealed(uint8_t *data, size_t size) {
@SEAL@
    return size;
}

size_t LLVMFuzzerCustomMutator(uint8_t *data, size_t size, size_t most, unsigned seed) {
    size = LLVMFuzzerMutate(data, size, most);
    return seed % 2 && size > @BEFORE@ ? @BEFORE@ + sealed(data + @BEFORE@, size - @BEFORE@) : size;
}

static void demand(int kept, const char *what) {
    if (!kept) {
        fprintf(stderr, "%s\\n", what);
        abort();
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    @PREFIX@_packet packet, before, other;
    uint8_t again[@UPPER@_MAX_BYTES];
    size_t length = 0;
    int exact = 0;
    @PREFIX@_fault fault;
@REFERENCE@
@KNOWN@
    memset(&packet, 0xa5, sizeof packet);
    memcpy(&before, &packet, sizeof packet);
    fault = @PREFIX@_decode(&packet, data, size, @GIVEN@NULL);
    if (fault) {
        demand(!memcmp(&before, &packet, sizeof packet), "a fault changed the caller's packet");
        return 0;
    }
    switch (packet.layout) {
@CASES@
    default: demand(0, "a good packet of no layout");
    }
    demand(!fault, "a good packet cannot be encoded again");
    if (exact) demand(length == size && !memcmp(again, data, size), "a good packet encodes again to another");
    demand(!@PREFIX@_decode(&other, again, length, @GIVEN@NULL), "a packet encoded again is not good");
    return 0;
}
"""
