-- A pad inside an FPGA: everything from outside comes through two flip-flops into the system clock.
--
-- The buttons pass as many flip-flops as the latch does, so what is loaded last is what was held
-- when the latch fell. An edge of latch or clock shows on data at the third rise of clk after it.
-- The clock line idles high and shifts on its rise; serial enters stage 1 (bit 0 of buttons).
library ieee;
use ieee.std_logic_1164.all;

entity fpga_pad is
    generic (STAGES : positive := 8);
    port (
        clk     : in  std_logic;
        reset   : in  std_logic;                              -- synchronous, active high
        latch   : in  std_logic;
        clock   : in  std_logic;
        serial  : in  std_logic;
        buttons : in  std_logic_vector(STAGES - 1 downto 0);  -- low is pressed
        data    : out std_logic                               -- low is pressed
    );
end entity;

architecture rtl of fpga_pad is
    signal latch_in, clock_in, serial_in : std_logic_vector(1 downto 0);
    signal buttons_meta, buttons_in      : std_logic_vector(STAGES - 1 downto 0);
    signal chain                         : std_logic_vector(STAGES downto 0);
    signal clock_was                     : std_logic;
begin
    chain(0) <= serial_in(1);

    process (clk)
    begin
        if rising_edge(clk) then
            latch_in     <= latch_in(0) & latch;
            clock_in     <= clock_in(0) & clock;
            serial_in    <= serial_in(0) & serial;
            buttons_meta <= buttons;
            buttons_in   <= buttons_meta;
            clock_was    <= clock_in(1);
            if latch_in(1) = '1' then
                chain(STAGES downto 1) <= buttons_in;
            elsif clock_in(1) = '1' and clock_was = '0' then
                chain(STAGES downto 1) <= chain(STAGES - 1 downto 0);
            end if;
            if reset = '1' then
                latch_in  <= "00";
                clock_in  <= "11";
                clock_was <= '1';
                chain(STAGES downto 1) <= (others => '1');
            end if;
        end if;
    end process;

    data <= chain(STAGES);
end architecture;
