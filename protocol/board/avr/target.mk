# An ATmega328P.
CROSS := avr-
MCU ?= atmega328p
F_CPU ?= 16000000UL
TARGET_FLAGS := -mmcu=$(MCU) -DF_CPU=$(F_CPU) -mcall-prologues
