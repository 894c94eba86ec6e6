# The wiring of each GPIO of a Raspberry Pi Pico or Pico 2. Plain data: the wiring diagram and the pin map in hardware/ are drawn from it.

SPI_ID = 0
SPI_HZ = 1_000_000  # the amplifiers allow 5 MHz; long leads in a car need less
I2C_ID = 0
I2C_HZ = 100_000  # the MCP960x allows no more

# name, GPIO, direction seen from the board
PINS = (
    ("spi_miso", 16, "in"),
    ("spi_sck", 18, "out"),
    ("spi_mosi", 19, "out"),
    ("select_0", 17, "out"),  # chip select of channel 0, 1, 2 ...; low selects
    ("select_1", 20, "out"),
    ("select_2", 21, "out"),
    ("select_3", 22, "out"),
    ("select_4", 13, "out"),
    ("select_5", 12, "out"),
    ("select_6", 11, "out"),
    ("select_7", 10, "out"),
    ("i2c_sda", 4, "both"),  # MCP960x, barometer, clock chip, converter
    ("i2c_scl", 5, "out"),
    ("engine_pulses", 2, "in"),  # after its input protection: one pulse per ignition event, rising edge
    ("receiver_tx", 0, "out"),  # UART0, optional: to a satellite receiver
    ("receiver_rx", 1, "in"),  # from it
    ("flow_1", 7, "in"),  # optional: a fuel flow meter's pulses, open collector; the board pulls up
    ("flow_2", 8, "in"),
    ("ignition", 3, "in"),  # after its divider: high while the ignition is on
    ("button", 14, "in"),  # to ground; the board pulls up
    ("lamp", 15, "out"),  # high lights it
    ("buzzer", 9, "out"),  # high sounds it
    ("sensor_rail", 6, "out"),  # high feeds amplifiers and senders
    ("battery", 26, "analogue"),  # divider 100k / 10k
    ("fuel_pressure", 27, "analogue"),  # ratiometric sender, 5 V, divider 10k / 19.6k: 5 V is full scale
)
