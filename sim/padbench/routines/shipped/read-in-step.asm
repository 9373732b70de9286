; Copies the sprites, then reads the pad once, in step with the sample fetch. Result in A.
; Copy and fetch get their bytes in cycles of one parity, so after the copy it is known in which
; cycles a fetch can stop the CPU: each read of the port falls on the others. The loop has an even
; length for that; call it in vertical blanking, and add nothing between copy and loop that takes
; an odd number of cycles.

copy    = $4014
port    = $4016
sprites = $02               ; the page they stand in, $0200 to $02FF
buttons = $00

read:
        lda #sprites
        sta copy            ; the CPU stops; it goes on at a known parity
        lda #$01            ; 2 cycles
        sta port            ; 4; latch high
        sta buttons         ; 3; a marker that eight shifts push out
        lsr a               ; 2
        sta port            ; 4; latch low: 15 in all, so each read below is on an even cycle
loop:
        lda port            ; 14 cycles a bit
        lsr a
        rol buttons
        bcc loop
        lda buttons
        rts
; padbench: result A
