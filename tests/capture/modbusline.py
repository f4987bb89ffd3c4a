"""A Modbus line on pseudo-terminals: pymodbus answers at one end, and every question is seen."""

import asyncio
import contextlib
import os
import select
import threading
import tty
from collections.abc import Iterator
from pathlib import Path

from pymodbus import FramerType
from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice


class Line:
    """Two pseudo-terminals joined by a wire that is listened to."""

    def __init__(self, folder: Path) -> None:
        self._near, near_slave = os.openpty()
        self._far, far_slave = os.openpty()
        self._slaves = (near_slave, far_slave)
        for end in (self._near, self._far, near_slave, far_slave):
            tty.setraw(end)
        self.port, self.server_port = os.ttyname(near_slave), os.ttyname(far_slave)
        self.asked = bytearray()
        self.absent_unit = -1  # the server answers for every unit; on a real line nobody would
        self._running = True
        self._wire = threading.Thread(target=self._carry, daemon=True)
        self._wire.start()

    def _carry(self) -> None:
        while self._running:
            ready, _, _ = select.select([self._near, self._far], [], [], 0.05)
            for end in ready:
                data = os.read(end, 512)
                if end == self._near:
                    self.asked += data
                    if data[0] == self.absent_unit:
                        continue
                os.write(self._far if end == self._near else self._near, data)

    def functions(self) -> set[int]:
        """Return the function codes asked for: a read's question is eight bytes long."""
        assert len(self.asked) % 8 == 0
        return {self.asked[place + 1] for place in range(0, len(self.asked), 8)}

    def close(self) -> None:
        self._running = False
        self._wire.join(5.0)
        for end in (self._near, self._far, *self._slaves):
            os.close(end)


@contextlib.contextmanager
def serving(line: Line, unit: int, registers: list[int]) -> Iterator[None]:
    """Serve registers from address 0 on, as holding and as input registers."""
    loop = asyncio.new_event_loop()
    ready = threading.Event()
    stop: list[asyncio.Event] = []

    async def serve() -> None:
        stop.append(asyncio.Event())
        device = SimDevice(unit, [SimData(0, values=registers, datatype=DataType.REGISTERS)])
        server = ModbusSerialServer(
            device, framer=FramerType.RTU, port=line.server_port, baudrate=19200
        )
        await server.serve_forever(background=True)
        ready.set()
        await stop[0].wait()
        await server.shutdown()

    thread = threading.Thread(target=loop.run_until_complete, args=(serve(),), daemon=True)
    thread.start()
    assert ready.wait(10.0)
    try:
        yield
    finally:
        loop.call_soon_threadsafe(stop[0].set)
        thread.join(10.0)
        loop.close()
