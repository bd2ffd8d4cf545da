"""Plays a cut of a recorded zone in real time from a Modbus TCP server: play.py PORT CSV

The registers are unlike any default: setpoint as tenths of a percent (int16), command in 1/255, feedback in mA as a float
with its bytes reversed, power in tenths of a watt (int32) with swapped bytes, lit as a coil. After the last row the values
stand, and after as long again the server ends by itself.
"""
import asyncio
import csv
import struct
import sys

from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext
from pymodbus.server import StartAsyncTcpServer

UNIT, SETPOINT, COMMAND, FEEDBACK, POWER, LIT = 7, 210, 12, 300, 340, 17


def words(raw):
    return list(struct.unpack(">%dH" % (len(raw) // 2), raw))


def swap_bytes(raw):
    return b"".join(raw[i + 1 : i + 2] + raw[i : i + 1] for i in range(0, len(raw), 2))


def show(slave, row):
    slave.setValues(4, SETPOINT, words(struct.pack(">h", round(10 * float(row["setpoint_percent"])))))
    slave.setValues(3, COMMAND, [round(2.55 * float(row["command_percent"]))])
    slave.setValues(4, FEEDBACK, words(struct.pack("<f", float(row["feedback_milliamps"]))))
    slave.setValues(4, POWER, words(swap_bytes(struct.pack(">i", round(10 * float(row["power_watts"]))))))
    slave.setValues(1, LIT, [row["lit"] == "1"])


async def main():
    port, rows = int(sys.argv[1]), list(csv.DictReader(open(sys.argv[2], newline="")))
    block = lambda: ModbusSequentialDataBlock(0, [0] * 400)
    slave = ModbusSlaveContext(di=block(), co=block(), hr=block(), ir=block(), zero_mode=True)
    show(slave, rows[0])
    server = asyncio.create_task(
        StartAsyncTcpServer(context=ModbusServerContext(slaves={UNIT: slave}, single=False), address=("127.0.0.1", port))
    )
    loop = asyncio.get_running_loop()
    start = loop.time()
    for row in rows:
        await asyncio.sleep(max(0, start + float(row["seconds"]) - loop.time()))
        show(slave, row)
    await asyncio.sleep(float(rows[-1]["seconds"]))
    server.cancel()


asyncio.run(main())
