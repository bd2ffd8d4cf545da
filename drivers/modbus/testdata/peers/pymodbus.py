"""A Modbus TCP device on pymodbus, for TestPeerPymodbus. Usage: pymodbus.py PORT. It answers unit 1 only. The values are
those of peer_test.go."""

import asyncio
import struct
import sys

# The script must not hide the library of the same name.
sys.path = [p for p in sys.path if not p.endswith("peers")]

from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext  # noqa: E402
from pymodbus.server import StartAsyncTcpServer  # noqa: E402

SIZE, TYPED, PER_ORDER = 500, 300, 20
ORDERS = ["big", "word-swap", "byte-swap", "little"]


def registers(fmt, value, order):
    """A value as registers, in one of the four orders."""
    big = struct.pack(">" + fmt, value)
    if order == "little":
        wire = big[::-1]
    else:
        words = [big[i : i + 2] for i in range(0, len(big), 2)]
        if order == "word-swap":
            words.reverse()
        if order == "byte-swap":
            words = [w[::-1] for w in words]
        wire = b"".join(words)
    return list(struct.unpack(">%dH" % (len(wire) // 2), wire))


holding = [20000 + i for i in range(SIZE)]
for n, order in enumerate(ORDERS):
    values = []
    for fmt, value in [("f", 123.456), ("i", -1234567), ("I", 4000000000), ("q", -1234567890123), ("Q", 1234567890123),
                       ("d", 123.456), ("h", -12345), ("H", 54321)]:
        values += registers(fmt, value, order)
    at = TYPED + PER_ORDER * n
    holding[at : at + len(values)] = values

slave = ModbusSlaveContext(
    co=ModbusSequentialDataBlock(0, [i % 3 == 0 for i in range(SIZE)]),
    di=ModbusSequentialDataBlock(0, [i % 5 == 0 for i in range(SIZE)]),
    ir=ModbusSequentialDataBlock(0, [10000 + i for i in range(SIZE)]),
    hr=ModbusSequentialDataBlock(0, holding),
    zero_mode=True,
)
context = ModbusServerContext(slaves={1: slave}, single=False)
asyncio.run(StartAsyncTcpServer(context=context, address=("127.0.0.1", int(sys.argv[1]))))
