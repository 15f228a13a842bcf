# An nRF51822.
CROSS := arm-none-eabi-
TARGET_PARTS := $(HERE)arm/memory.ld
TARGET_FLAGS := -mcpu=cortex-m0 -mthumb -fno-math-errno -Wdouble-promotion
TARGET_LINK := -nostartfiles --specs=nano.specs --specs=nosys.specs -T$(HERE)arm/memory.ld
