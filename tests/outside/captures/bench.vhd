-- The same register and the same reads in VHDL, for tests of the capture readers only.
library ieee;
use ieee.std_logic_1164.all;

entity pad is
  port (
    latch, clock : in std_logic;
    held         : in std_logic_vector(7 downto 0);
    data         : out std_logic
  );
end entity;

architecture stages_of of pad is
  signal stages : std_logic_vector(7 downto 0);
begin
  process (latch, clock, held)
  begin
    if latch = '1' then
      stages <= not held;
    elsif rising_edge(clock) then
      stages <= stages(6 downto 0) & '0';
    end if;
  end process;
  data <= stages(7);
end architecture;

library ieee;
use ieee.std_logic_1164.all;

entity bench is
end entity;

architecture reads of bench is
  signal latch : std_logic := '0';
  signal clock : std_logic := '1';
  signal held  : std_logic_vector(7 downto 0) := x"00";
  signal data  : std_logic;
begin
  the_pad : entity work.pad port map (latch, clock, held, data);

  process
    procedure read(buttons : std_logic_vector(7 downto 0); stopped : integer) is
    begin
      held <= buttons;
      wait for 2 us;
      latch <= '1';
      wait for 8900 ns;
      latch <= '0';
      wait for 5400 ns;
      for bit_number in 1 to 8 loop
        clock <= '0';
        wait for 560 ns;
        clock <= '1';
        if bit_number = stopped then
          wait for 560 ns;
          clock <= '0';
          wait for 560 ns;
          clock <= '1';
        end if;
        wait for 5590 ns;
      end loop;
      wait for 50 us;
    end procedure;
  begin
    read(x"00", 0);
    read(x"80", 0);
    read(x"01", 0);
    read(x"5a", 0);
    read(x"00", 8);
    read(x"c3", 3);
    read(x"ff", 0);
    wait;
  end process;
end architecture;
