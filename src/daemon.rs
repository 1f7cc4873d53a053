//! One actor per station: feeds the procedure, carries its orders out.
