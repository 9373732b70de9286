; Reads the pad twice and hands on the byte only if both passes agree; else the old state.
; Old state in A, result in A. The usual cure for stopped reads; the loop is quick.

port    = $4016
old     = $00
first   = $01
buttons = $02

read:
        sta old
        jsr pass
        lda buttons
        sta first
        jsr pass
        lda buttons
        cmp first
        beq agree
        lda old             ; they differ: one of them was stopped, act on neither
agree:
        rts

pass:
        lda #$01
        sta port
        sta buttons
        lsr a
        sta port
loop:
        lda port
        lsr a
        rol buttons
        bcc loop
        rts
; padbench: result A
