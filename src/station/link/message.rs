//! A character device of the USB test-and-measurement class (USBTMC, subclass USB488).
//!
//! Such a device takes one message with each write and gives one answer with each read, which waits
//! inside the system until the answer is there. So a thread of its own does both: it writes the
//! messages in turn and reads after one that asks (IEEE 488.2: its header ends with `?`). A cut-out
//! throws away what waits and goes next; one answer that is being waited for goes before it, as
//! long as the system lets the device take (5 s unless it was told otherwise).

use std::collections::VecDeque;
use std::fs::{File, OpenOptions};
use std::io::{self, Read, Write};
use std::os::fd::{AsFd, BorrowedFd};
use std::sync::{Arc, Condvar, Mutex, PoisonError};

use tokio::sync::mpsc;

/// The longest answer that is read.
const LONGEST_ANSWER: usize = 4096;
/// Messages that wait for a device that takes none; more means that it is dead.
const MOST_WAITING: usize = 64;

/// What the thread has to write.
#[derive(Debug, Default)]
struct Waiting {
    messages: VecDeque<Vec<u8>>,
    closed: bool,
}

#[derive(Debug, Default)]
struct Post {
    waiting: Mutex<Waiting>,
    came: Condvar,
}

/// An open device.
#[derive(Debug)]
pub(super) struct MessageDevice {
    device: File,
    post: Arc<Post>,
    answers: mpsc::UnboundedReceiver<io::Result<Vec<u8>>>,
    /// What was read and not taken yet.
    rest: Vec<u8>,
}

impl MessageDevice {
    /// Opens the device and starts its thread.
    ///
    /// # Errors
    ///
    /// The system's.
    pub(super) fn open(path: &str) -> io::Result<Self> {
        let device = OpenOptions::new().read(true).write(true).open(path)?;
        let post = Arc::new(Post::default());
        let (tell, answers) = mpsc::unbounded_channel();
        let (taken, held) = (post.clone(), device.try_clone()?);
        std::thread::Builder::new()
            .name("message-device".into())
            .spawn(move || serve(held, &taken, &tell))?;
        Ok(Self { device, post, answers, rest: Vec::new() })
    }

    /// Hands a message over to be written.
    ///
    /// # Errors
    ///
    /// A device that has taken nothing for far too long.
    pub(super) fn write(&self, message: &[u8]) -> io::Result<()> {
        let mut waiting = self.post.waiting.lock().unwrap_or_else(PoisonError::into_inner);
        if MOST_WAITING <= waiting.messages.len() {
            waiting.messages.clear();
            return Err(io::Error::new(io::ErrorKind::TimedOut, "the device takes no messages"));
        }
        waiting.messages.push_back(message.to_vec());
        self.post.came.notify_one();
        Ok(())
    }

    /// Throws away what waits to be written.
    pub(super) fn clear(&self) {
        self.post.waiting.lock().unwrap_or_else(PoisonError::into_inner).messages.clear();
    }

    /// Waits for bytes of an answer. Cancel safe.
    ///
    /// # Errors
    ///
    /// The system's: the device is gone.
    pub(super) async fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.rest.is_empty() {
            let answer = self.answers.recv().await;
            self.rest = answer.unwrap_or_else(|| Err(io::ErrorKind::UnexpectedEof.into()))?;
        }
        let count = buffer.len().min(self.rest.len());
        buffer[..count].copy_from_slice(&self.rest[..count]);
        self.rest.drain(..count);
        Ok(count)
    }
}

impl Drop for MessageDevice {
    fn drop(&mut self) {
        self.post.waiting.lock().unwrap_or_else(PoisonError::into_inner).closed = true;
        self.post.came.notify_one();
    }
}

impl AsFd for MessageDevice {
    fn as_fd(&self) -> BorrowedFd<'_> {
        self.device.as_fd()
    }
}

impl Post {
    /// The next message; none once the device is closed and all is written.
    fn next(&self) -> Option<Vec<u8>> {
        let mut waiting = self.waiting.lock().unwrap_or_else(PoisonError::into_inner);
        loop {
            if let Some(message) = waiting.messages.pop_front() {
                return Some(message);
            }
            if waiting.closed {
                return None;
            }
            waiting = self.came.wait(waiting).unwrap_or_else(PoisonError::into_inner);
        }
    }
}

/// Writes what waits and reads what is asked for, until the device is closed or gone.
fn serve(mut device: File, post: &Post, tell: &mpsc::UnboundedSender<io::Result<Vec<u8>>>) {
    while let Some(message) = post.next() {
        let answer = exchange(&mut device, &message);
        let gone = answer.is_err();
        let told = match answer {
            Ok(Some(answer)) => tell.send(Ok(answer)).is_ok(),
            Ok(None) => true,
            Err(error) => tell.send(Err(error)).is_ok(),
        };
        if gone || !told {
            return;
        }
    }
}

/// One message, and its answer if it asks for one. An answer that does not come is silence, whose
/// length others measure.
fn exchange(device: &mut File, message: &[u8]) -> io::Result<Option<Vec<u8>>> {
    device.write_all(message)?;
    if !message.contains(&b'?') {
        return Ok(None);
    }
    let mut answer = vec![0; LONGEST_ANSWER];
    match device.read(&mut answer) {
        Ok(count) => {
            answer.truncate(count);
            Ok((0 < count).then_some(answer))
        }
        Err(error) if error.kind() == io::ErrorKind::TimedOut => Ok(None),
        Err(error) => Err(error),
    }
}
