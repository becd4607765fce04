//! How far a mail got, and what that says of the next attempt: retry or fail is decided here and nowhere else.

use std::{fmt, io};

use lettre::transport::smtp::response::Response;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    Settings,
    Connect,
    Tls,
    Greeting,
    Hello,
    StartTls,
    Auth,
    Mail,
    Rcpt,
    Data,
    /// The caller's own record that the body is about to go out.
    Record,
    Body,
    Dot,
}

impl fmt::Display for Step {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Settings => "settings",
            Self::Connect => "connecting",
            Self::Tls => "encryption",
            Self::Greeting => "greeting",
            Self::Hello => "EHLO",
            Self::StartTls => "STARTTLS",
            Self::Auth => "AUTH",
            Self::Mail => "MAIL FROM",
            Self::Rcpt => "RCPT TO",
            Self::Data => "DATA",
            Self::Record => "recording that the body goes out",
            Self::Body => "the body",
            Self::Dot => "the final dot",
        })
    }
}

/// A server's answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reply {
    pub code: u16,
    pub text: String,
}

impl Reply {
    /// RFC 3463: 5.3.4 and 5.2.3 speak of the message's size, 5.2.2 of a full mailbox, which no shorter mail mends.
    fn finds_it_too_large(&self) -> bool {
        let says = |status| self.text.starts_with(status);
        says("5.3.4") || says("5.2.3") || (self.code == 552 && !says("5.2.2"))
    }
}

impl fmt::Display for Reply {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.code, self.text)
    }
}

impl From<&Response> for Reply {
    fn from(response: &Response) -> Self {
        let lines: Vec<&str> = response.message().collect();
        Self { code: u16::from(response.code()), text: lines.join(" ") }
    }
}

/// Why a step did not succeed: the server said so, or something broke.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Trouble {
    #[error("the server said {0}")]
    Said(Reply),
    #[error("{0}")]
    Failed(String),
}

impl From<io::Error> for Trouble {
    fn from(error: io::Error) -> Self {
        Self::Failed(error.to_string())
    }
}

impl From<lettre::transport::smtp::Error> for Trouble {
    fn from(error: lettre::transport::smtp::Error) -> Self {
        let words = std::error::Error::source(&error).map_or_else(|| error.to_string(), ToString::to_string);
        match error.status() {
            Some(code) => Self::Said(Reply { code: u16::from(code), text: words }),
            None => Self::Failed(words),
        }
    }
}

/// A step that did not succeed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{cause} (at {at_step})")]
pub struct Fault {
    pub cause: Trouble,
    pub at_step: Step,
}

impl Fault {
    pub(in crate::notices) fn failed(at_step: Step, error: impl fmt::Display) -> Self {
        Self { cause: Trouble::Failed(error.to_string()), at_step }
    }

    pub(super) fn code(&self) -> Option<u16> {
        match &self.cause {
            Trouble::Said(reply) => Some(reply.code),
            Trouble::Failed(_) => None,
        }
    }

    /// The server knows us no more, as after a changed password: trying often looks like guessing.
    pub fn refuses_sign_in(&self) -> bool {
        let refused = |code| (500..600).contains(&code) || code == 432;
        self.at_step == Step::Auth && self.code().is_some_and(refused)
    }
}

/// What became of one mail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Delivery {
    /// The server has answered for it.
    Sent { reply: Reply },
    /// The server does not have it: the same bytes may be offered again later.
    Deferred { cause: Trouble, at_step: Step },
    /// The server will not take it for this recipient, now or later.
    Refused { reply: Reply, at_step: Step },
    /// The server takes no mail of that size: a shorter one may do.
    TooLarge { reply: Reply, at_step: Step },
    /// The end of the mail went out and no answer came: the server may have it.
    Uncertain { error: String },
}

impl From<Fault> for Delivery {
    fn from(fault: Fault) -> Self {
        let Fault { cause, at_step } = fault;
        match cause {
            Trouble::Failed(error) if at_step == Step::Dot => Self::Uncertain { error },
            Trouble::Said(reply) if permanent(reply.code, at_step) => {
                if reply.finds_it_too_large() {
                    Self::TooLarge { reply, at_step }
                } else {
                    Self::Refused { reply, at_step }
                }
            }
            cause => Self::Deferred { cause, at_step },
        }
    }
}

impl Delivery {
    /// The fault, where the conversation broke or the server closed it: no word about the mail itself.
    pub fn broken_off(&self) -> Option<Fault> {
        let Self::Deferred { cause, at_step } = self else { return None };
        let broke = match cause {
            Trouble::Said(reply) => reply.code == 421,
            Trouble::Failed(_) => true,
        };
        (broke && *at_step != Step::Record).then(|| Fault { cause: cause.clone(), at_step: *at_step })
    }

    /// Broken off while none of the mail's body had gone out, nor was said to.
    pub fn broken_off_early(&self) -> bool {
        let early = |fault: &Fault| matches!(fault.at_step, Step::Mail | Step::Rcpt | Step::Data);
        self.broken_off().as_ref().is_some_and(early)
    }
}

/// A refusal of the whole session, or for want of a good sign-in, says nothing about this recipient.
fn permanent(code: u16, at_step: Step) -> bool {
    let about_the_mail = matches!(at_step, Step::Mail | Step::Rcpt | Step::Data | Step::Dot);
    let about_sign_in = matches!(code, 530 | 534 | 535 | 538);
    about_the_mail && (500..600).contains(&code) && !about_sign_in
}
