/* A Modbus TCP device on libmodbus, for TestPeerLibmodbus. Usage: libmodbus PORT. It serves one client at a time. The
 * values are those of peer_test.go. Build: cc libmodbus.c $(pkg-config --cflags --libs libmodbus) */
#include <errno.h>
#include <modbus.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { SIZE = 500, TYPED = 300, PER_ORDER = 20 };

/* order 0 big, 1 word-swap, 2 byte-swap, 3 little; bits hold the value, n is its size in registers */
static void put(uint16_t *to, uint64_t bits, int n, int order)
{
    for (int i = 0; i < n; i++) {
        int from = (order == 1 || order == 3) ? i : n - 1 - i; /* which register, 0 the lowest */
        uint16_t w = (uint16_t)(bits >> (16 * from));
        to[i] = order >= 2 ? (uint16_t)(w << 8 | w >> 8) : w;
    }
}

static void fill(modbus_mapping_t *m)
{
    for (int i = 0; i < SIZE; i++) {
        m->tab_bits[i] = i % 3 == 0;
        m->tab_input_bits[i] = i % 5 == 0;
        m->tab_input_registers[i] = (uint16_t)(10000 + i);
        m->tab_registers[i] = (uint16_t)(20000 + i);
    }
    for (int order = 0; order < 4; order++) {
        uint16_t *at = m->tab_registers + TYPED + PER_ORDER * order;
        double d = 123.456;
        float f = 123.456f;
        uint64_t bits;
        uint32_t half;
        memcpy(&bits, &d, sizeof bits);
        memcpy(&half, &f, sizeof half);
        /* not modbus_set_float_*: the names of those are about memory, not about the wire */
        put(at, half, 2, order);
        put(at + 2, (uint32_t)-1234567, 2, order);
        put(at + 4, 4000000000u, 2, order);
        put(at + 6, (uint64_t)-1234567890123LL, 4, order);
        put(at + 10, 1234567890123ULL, 4, order);
        put(at + 14, bits, 4, order);
        put(at + 18, (uint16_t)-12345, 1, order);
        put(at + 19, 54321, 1, order);
    }
}

int main(int argc, char **argv)
{
    if (argc < 2)
        return 2;
    modbus_t *ctx = modbus_new_tcp("127.0.0.1", atoi(argv[1]));
    modbus_mapping_t *map = modbus_mapping_new(SIZE, SIZE, SIZE, SIZE);
    if (!ctx || !map)
        return 1;
    fill(map);
    int listening = modbus_tcp_listen(ctx, 1);
    if (listening < 0) {
        fprintf(stderr, "listen: %s\n", modbus_strerror(errno));
        return 1;
    }
    while (modbus_tcp_accept(ctx, &listening) >= 0) {
        uint8_t query[MODBUS_TCP_MAX_ADU_LENGTH];
        for (;;) {
            int n = modbus_receive(ctx, query);
            if (n < 0)
                break;
            if (n > 0)
                modbus_reply(ctx, query, n, map);
        }
        close(modbus_get_socket(ctx));
    }
    return 0;
}
