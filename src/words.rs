//! Closed lists of plain words: an enum whose members each have the word a user meets.

/// Gives an enum of plain words its tag, the reverse, and the list of all its members.
macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$variant_doc:meta])* $variant:ident = $tag:literal,)+ }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum $name { $($(#[$variant_doc])* $variant,)+ }

        impl $name {
            /// Every member, in order of declaration.
            pub const ALL: &[Self] = &[$(Self::$variant),+];

            /// The word as it is written in the record, in `--json` and on paper.
            #[must_use]
            pub const fn tag(self) -> &'static str {
                match self { $(Self::$variant => $tag),+ }
            }

            /// The member with this tag, if there is one.
            #[must_use]
            pub fn from_tag(tag: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|member| member.tag() == tag)
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.tag())
            }
        }
    };
}
pub(crate) use words;
